package main

import (
	"bytes"
	"cmp"
	"fmt"
	"slices"
)

// rewrite returns the text of a file with the mutants built in. No line is added, so that the compiler's messages and
// the user speak of the same lines.
func rewrite(text []byte, mutants []*mutant) []byte {
	var edits []edit
	mutants = slices.SortedFunc(slices.Values(mutants), func(a, b *mutant) int { return a.id - b.id })
	for _, m := range mutants {
		edits = append(edits, m.edits(m.id)...)
	}
	// At one offset: first what closes, the innermost first; then what opens, the outermost first; then what replaces.
	rank := func(e edit) int {
		switch {
		case e.closes >= 0:
			return 0
		case e.openedBy >= 0:
			return 1
		}
		return 2
	}
	order := make([]int, len(edits))
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(i, j int) int {
		a, b := edits[i], edits[j]
		if c := cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(rank(a), rank(b))); c != 0 {
			return c
		}
		switch rank(a) {
		case 0: // of two that wrap the same bytes the later one is outside
			return cmp.Or(cmp.Compare(b.closes, a.closes), cmp.Compare(i, j))
		case 1:
			return cmp.Or(cmp.Compare(b.openedBy, a.openedBy), cmp.Compare(j, i))
		}
		return 0
	})
	var out bytes.Buffer
	at := 0
	for _, i := range order {
		e := edits[i]
		out.Write(text[at:e.at])
		out.WriteString(e.text)
		at = e.end
	}
	out.Write(text[at:])
	return out.Bytes()
}

// withSwitches adds to a file what reads which mutant is on, or notes which ones are met. It takes no file of its own, since
// a package may look at what files it has, and no line in front of the others. The package's name ends at nameEnd.
func withSwitches(text []byte, nameEnd int) []byte {
	var out bytes.Buffer
	out.Write(text[:nameEnd])
	out.WriteString(switchImports)
	out.Write(text[nameEnd:])
	fmt.Fprintf(&out, switches, envMutant, envMet)
	return out.Bytes()
}

const switchImports = `; import ( mutantCmp "cmp"; mutantOS "os"; mutantStrconv "strconv"; mutantSync "sync" )`

const switches = `
var mutantID, _ = mutantStrconv.Atoi(mutantOS.Getenv(%q))

// Where to note the mutants that are met, if that is asked for.
var (
	mutantMet  = mutantOS.Getenv(%q)
	mutantSeen mutantSync.Map
)

func mutantOn(id int) bool {
	if mutantMet != "" {
		if _, before := mutantSeen.LoadOrStore(id, true); !before {
			f, err := mutantOS.OpenFile(mutantMet, mutantOS.O_APPEND|mutantOS.O_CREATE|mutantOS.O_WRONLY, 0o600)
			if err != nil {
				panic(err)
			}
			f.WriteString(mutantStrconv.Itoa(id) + "\n")
			f.Close()
		}
	}
	return id == mutantID
}

func mutantNot[T ~bool](id int, v T) T { return v != T(mutantOn(id)) }

func mutantValue[T any](id int, other, v T) T {
	if mutantOn(id) {
		return other
	}
	return v
}

type mutantNumber interface {
	~int | ~int8 | ~int16 | ~int32 | ~int64 |
		~uint | ~uint8 | ~uint16 | ~uint32 | ~uint64 | ~uintptr | ~float32 | ~float64
}

func mutantAdd[T mutantNumber](id int, a, b T) T {
	if mutantOn(id) {
		return a - b
	}
	return a + b
}

func mutantSub[T mutantNumber](id int, a, b T) T {
	if mutantOn(id) {
		return a + b
	}
	return a - b
}

func mutantLess[T mutantCmp.Ordered](id int, a, b T) bool         { return a < b || mutantOn(id) && a == b }
func mutantLessEqual[T mutantCmp.Ordered](id int, a, b T) bool    { return a < b || !mutantOn(id) && a == b }
func mutantGreater[T mutantCmp.Ordered](id int, a, b T) bool      { return a > b || mutantOn(id) && a == b }
func mutantGreaterEqual[T mutantCmp.Ordered](id int, a, b T) bool { return a > b || !mutantOn(id) && a == b }
`
