package marks

// spur is the length in pixels up to which a branch of a thinned mark may come from how thick its strokes are.
const spur = 5

// thinned is a mark's strokes made one pixel wide, with a border of a pixel around it.
type thinned struct {
	w, h int
	on   []bool
}

// thin takes pixels off a mark's edges as long as it stays as connected as it is: Zhang and Suen 1984
// (doi 10.1145/357994.358023), "A fast parallel algorithm for thinning digital patterns".
func (m *mask) thin() *thinned {
	t := &thinned{w: m.w + 2, h: m.h + 2}
	t.on = make([]bool, t.w*t.h)
	for k, on := range m.on {
		t.on[(k/m.w+1)*t.w+k%m.w+1] = on
	}
	for quiet := 0; quiet < 2; {
		for _, side := range [2][2][3]int{{{0, 2, 4}, {2, 4, 6}}, {{0, 2, 6}, {0, 4, 6}}} {
			var off []int
			t.each(func(k int, around [8]bool, n, turns int) {
				all := func(s [3]int) bool { return around[s[0]] && around[s[1]] && around[s[2]] }
				if n >= 2 && n <= 6 && turns == 1 && !all(side[0]) && !all(side[1]) {
					off = append(off, k)
				}
			})
			quiet++
			for _, k := range off {
				t.on[k], quiet = false, 0
			}
		}
	}
	return t
}

// each calls for each pixel that is on, with those around it clockwise from above: how many are on, and how often
// one that is on follows one that is not.
func (t *thinned) each(do func(k int, around [8]bool, n, turns int)) {
	for y := 1; y < t.h-1; y++ {
		for x := 1; x < t.w-1; x++ {
			k := y*t.w + x
			if !t.on[k] {
				continue
			}
			around := [8]bool{t.on[k-t.w], t.on[k-t.w+1], t.on[k+1], t.on[k+t.w+1], t.on[k+t.w], t.on[k+t.w-1], t.on[k-1], t.on[k-t.w-1]}
			n, turns := 0, 0
			for i, on := range around {
				if on {
					n++
				}
				if !on && around[(i+1)%8] {
					turns++
				}
			}
			do(k, around, n, turns)
		}
	}
}

// ends is how many ends a mark's strokes have, branches up to a spur's length left out: a tick and a slash have two, a
// cross four, and a figure like a 4 or a 9 has a third that hangs below the corner of what else would be a tick.
func (m *mask) ends() int {
	t := m.thin()
	for length := 0; ; length++ {
		var ends []int
		t.each(func(k int, _ [8]bool, n, turns int) {
			if n <= 1 || n == 2 && turns == 1 {
				ends = append(ends, k)
			}
		})
		if length == spur {
			return len(ends)
		}
		for _, k := range ends {
			t.on[k] = false
		}
	}
}
