package copycheck

import (
	"bufio"
	"bytes"
	"os"
	"path/filepath"
	"slices"
	"strings"
)

// mount is a line of /proc/self/mountinfo (proc(5)).
type mount struct {
	device string // major:minor of the file system
	root   string // the folder of the file system that is shown
	point  string // where
	layers []string
}

// place is a folder of a file system, wherever it is shown.
type place struct{ device, path string }

// showsAgain tells how one of two folders shows files of the other that lie
// elsewhere by their paths: through a bind mount, or as a layer of an overlay.
// Empty where it does not, or that cannot be seen.
func showsAgain(a, b string) string {
	data, err := os.ReadFile("/proc/self/mountinfo")
	if err != nil {
		return ""
	}
	mounts := readMounts(data)
	inA := placesOf(a, mounts, nil)
	for _, p := range placesOf(b, mounts, nil) {
		for _, q := range inA {
			if p.device == q.device && (below(p.path, q.path) || below(q.path, p.path)) {
				return "through a bind or overlay mount"
			}
		}
	}
	return ""
}

// placesOf are the places whose files a folder shows: where it lies, what is
// mounted in it, and the layers of overlays among these.
func placesOf(folder string, mounts []mount, seen []string) []place {
	var covering *mount
	var all []place
	for i := range mounts {
		m := &mounts[i]
		switch {
		case below(folder, m.point):
			if covering == nil || len(m.point) >= len(covering.point) {
				covering = m // a later mount hides an earlier one
			}
		case below(m.point, folder):
			all = append(all, m.places("", mounts, seen)...)
		}
	}
	if covering != nil {
		rel, _ := filepath.Rel(covering.point, folder)
		all = append(all, covering.places(rel, mounts, seen)...)
	}
	return all
}

// stackDepth is how many overlays Linux lets lie on each other.
const stackDepth = 2

// places are those of the folder rel of a mount. seen keeps overlays that name
// layers within themselves, as in containers, from going round.
func (m *mount) places(rel string, mounts []mount, seen []string) []place {
	all := []place{{m.device, filepath.Join(m.root, rel)}}
	if len(seen) == stackDepth || slices.Contains(seen, m.point) {
		return all
	}
	for _, layer := range m.layers {
		all = append(all, placesOf(filepath.Join(layer, rel), mounts, append(seen, m.point))...)
	}
	return all
}

func below(path, folder string) bool {
	return path == folder || strings.HasPrefix(path, strings.TrimSuffix(folder, "/")+"/")
}

var mountUnescaper = strings.NewReplacer(`\040`, " ", `\011`, "\t", `\012`, "\n", `\134`, `\`)

// readMounts reads mountinfo; lines it does not understand are left out.
func readMounts(data []byte) []mount {
	var all []mount
	lines := bufio.NewScanner(bytes.NewReader(data))
	lines.Buffer(nil, 1<<20)
	for lines.Scan() {
		before, after, ok := strings.Cut(lines.Text(), " - ")
		f, g := strings.Fields(before), strings.Fields(after)
		if !ok || len(f) < 5 || len(g) < 3 {
			continue
		}
		m := mount{device: f[2], root: mountUnescaper.Replace(f[3]), point: mountUnescaper.Replace(f[4])}
		if g[0] == "overlay" {
			m.layers = overlayLayers(mountUnescaper.Replace(g[2]))
		}
		all = append(all, m)
	}
	return all
}

// overlayLayers are the folders that an overlay's options name; a colon or a
// comma in a name is escaped by a backslash.
func overlayLayers(options string) []string {
	var layers []string
	for _, o := range splitEscaped(options, ',') {
		key, value, _ := strings.Cut(o, "=")
		switch key {
		case "lowerdir", "lowerdir+", "datadir+", "upperdir":
			for _, l := range splitEscaped(value, ':') {
				if filepath.IsAbs(l) {
					layers = append(layers, filepath.Clean(strings.ReplaceAll(l, `\`, "")))
				}
			}
		}
	}
	return layers
}

func splitEscaped(s string, sep byte) []string {
	var parts []string
	from := 0
	for i := 0; i < len(s); i++ {
		switch s[i] {
		case '\\':
			i++
		case sep:
			parts = append(parts, s[from:i])
			from = i + 1
		}
	}
	return append(parts, s[from:])
}
