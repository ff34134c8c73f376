package judge

import (
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"listbound/projections"
	"listbound/projections/facts"
)

var update = flag.Bool("update", false, "write the verdicts of testdata/*.txt anew, to be read by you")

// TestPlantedVerdicts holds every planted case, and the nearest thing beside it,
// to the whole of what is said of it: of each trip the state, each finding with
// its window, lines, records and sentence, and what the verdict rests on.
func TestPlantedVerdicts(t *testing.T) {
	var out strings.Builder
	for _, test := range findingTests {
		fmt.Fprintf(&out, "# %s, %s\n", test.code, test.name)
		for i, tell := range []func(*story, *turn){test.with, test.not} {
			if i == 1 {
				out.WriteString("## beside it\n")
			}
			s, x := plain()
			tell(s, x)
			w := s.world()
			for _, k := range w.Trips() {
				s.write(t, &out, w, k)
			}
			if i == 0 {
				s.rests(t, &out, w, x.key())
			}
		}
	}
	golden(t, "planted.txt", out.String())
}

// golden compares a text with what is kept of it, paragraph by paragraph.
func golden(t *testing.T, name, got string) {
	t.Helper()
	path := filepath.Join("testdata", name)
	if *update {
		if err := os.WriteFile(path, []byte(got), 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want := strings.Split(string(must(os.ReadFile(path))), "\n# ")
	for i, part := range strings.Split(got, "\n# ") {
		if i >= len(want) || part != want[i] {
			t.Fatalf("%s:\n# %s\nis not what is kept; if it is right, go test ./projections/judge -update", path, part)
		}
	}
	if n := len(strings.Split(got, "\n# ")); n != len(want) {
		t.Errorf("%s has %d parts, want %d", path, len(want), n)
	}
}

// write tells what is known of a trip.
func (s *story) write(t *testing.T, out *strings.Builder, w *World, k projections.TripKey) {
	t.Helper()
	v := judge(t, w, k)
	fmt.Fprintf(out, "%s: %s", s.name(k), v.Status)
	if v.Opened {
		out.WriteString(", opened")
	}
	if v.Over {
		out.WriteString(", over")
	}
	if v.Case != "" {
		out.WriteString(", " + v.Case)
	}
	if !v.Since.IsZero() {
		fmt.Fprintf(out, ", since %s at %s", brief(v.Since), v.Where)
	}
	if !v.Until.IsZero() {
		fmt.Fprintf(out, ", until %s", brief(v.Until))
	}
	out.WriteString("\n")
	for _, f := range v.Findings {
		fmt.Fprintf(out, "  %s %s, %s\n    %s\n", f.Severity, f.Code, s.evidence(f), f.Says)
	}
}

// rests tells which questions a verdict rests on.
func (s *story) rests(t *testing.T, out *strings.Builder, w *World, k projections.TripKey) {
	t.Helper()
	_, asks, err := w.JudgeAsking(k)
	if err != nil {
		t.Fatal(err)
	}
	fmt.Fprintf(out, "  rests on %s\n", strings.Join(s.questions(asks), "; "))
}

// questions writes questions down.
func (s *story) questions(asks []facts.Ask) (out []string) {
	end := func(nanos int64) string {
		if nanos == facts.Ever || nanos == facts.After {
			return ""
		}
		return brief(time.Unix(0, nanos).UTC())
	}
	for _, a := range asks {
		q := strings.TrimSpace(string(a.Dim) + " " + s.short(a.Key))
		switch from, to := end(a.From), end(a.To); {
		case a.From == facts.Ever && a.To == facts.After:
		case from == to:
			q += " " + from
		default:
			q += fmt.Sprintf(" %s-%s", from, to)
		}
		out = append(out, q)
	}
	return out
}

// name names a trip as the test told it: by its set and number.
func (s *story) name(k projections.TripKey) string {
	switch name := s.short(k.Trip); {
	case k.Trip == "":
		return k.Set + " before any packing"
	case strings.HasPrefix(name, k.Set+" "):
		return name
	default:
		return k.Set + " in " + name
	}
}

// short puts names in the place of the trips in a text.
func (s *story) short(text string) string {
	var names []string
	sets := make(map[string]bool)
	for _, f := range s.all {
		set := f.Event.Subject
		if sets[set] || !strings.Contains(text, "-") {
			continue
		}
		sets[set] = true
		for n := range 8 {
			names = append(names, tripOf(set, n), fmt.Sprintf("%s #%d", set, n))
		}
	}
	return strings.NewReplacer(names...).Replace(text)
}

// brief is a moment of the story: the day, and as much of the time as counts.
func brief(at time.Time) string {
	s := at.Format("02 15:04:05.999999999")
	return strings.TrimSuffix(s, ":00")
}
