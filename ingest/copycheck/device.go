package copycheck

import "stillspan/internal/files"

// device is the file system that a tree lies on; 0 where that cannot be told.
func (t *tree) device() uint64 { return files.IdentityOf(t.info).Device }

// byDevice groups trees that lie on one file system, as far as that can be
// told; indexes into trees.
func byDevice(trees []*tree) [][]int {
	at := map[uint64]int{}
	var groups [][]int
	for i, t := range trees {
		g, ok := at[t.device()]
		if !ok {
			g = len(groups)
			at[t.device()] = g
			groups = append(groups, nil)
		}
		groups[g] = append(groups[g], i)
	}
	return groups
}

// shared are the groups of more than one, among those whose device is known.
func shared(trees []*tree) [][]int {
	var out [][]int
	for _, g := range byDevice(trees) {
		if len(g) > 1 && trees[g[0]].device() != 0 {
			out = append(out, g)
		}
	}
	return out
}
