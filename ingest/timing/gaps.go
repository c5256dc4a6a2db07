package timing

import "math"

// fillSlots spreads the places of the timed shots to all shots. A shot without
// a time takes the place its number gives it, if that is free.
func fillSlots(shots []Shot, s series, timed []int) []int {
	slot := make([]int, len(shots))
	known := make([]bool, len(shots))
	for k, i := range s.index {
		slot[i], known[i] = timed[k], true
	}
	next := func(i int) int { // first timed shot after i, or len(shots)
		for i++; i < len(shots) && !known[i]; i++ {
		}
		return i
	}
	limit := next(-1)
	for i := range shots {
		if known[i] {
			limit = next(i)
			continue
		}
		if i == 0 {
			slot[0] = 0
			if limit < len(shots) {
				slot[0] = slot[limit] - numberOr(shots, 0, limit, limit)
			}
			continue
		}
		slot[i] = slot[i-1] + numberOr(shots, i-1, i, 1)
		if limit < len(shots) {
			slot[i] = min(slot[i], slot[limit]-1)
		}
		slot[i] = max(slot[i], slot[i-1])
	}
	if len(slot) > 0 && slot[0] != 0 {
		first := slot[0]
		for i := range slot {
			slot[i] -= first
		}
	}
	return slot
}

// numberOr is the step of the file numbers from shot i to j, or other where
// they do not tell.
func numberOr(shots []Shot, i, j, other int) int {
	if step := numberStep(shots[i].Number, shots[j].Number); step > 0 {
		return step
	}
	return other
}

// gaps cross-checks places against numbers between neighbours. What is missing
// in both was shot and lost; what is missing in the places alone was never
// fired; what is missing in the numbers alone never belonged here.
func gaps(shots []Shot, slot []int, intervalS float64) []Gap {
	var list []Gap
	for i := 0; i+1 < len(shots); i++ {
		places := max(0, slot[i+1]-slot[i]-1)
		numbers := numberOr(shots, i, i+1, 0) - 1
		gapS := shots[i+1].T - shots[i].T
		if math.IsNaN(gapS) {
			gapS = float64(slot[i+1]-slot[i]) * intervalS
		}
		add := func(count int, c Cause) {
			if count > 0 {
				list = append(list, Gap{After: i, Count: count, GapS: gapS, Cause: c})
			}
		}
		if numbers < 0 {
			add(places, Unknown)
			continue
		}
		lost := min(places, numbers)
		add(places-lost, NotFired)
		add(lost, FileLost)
		add(numbers-lost, NumberSkip)
	}
	return list
}

// tooLong lists the shots whose exposure does not fit in the interval.
func tooLong(shots []Shot, intervalS float64) []int {
	var list []int
	for i, sh := range shots {
		if sh.ExposureS > intervalS {
			list = append(list, i)
		}
	}
	return list
}
