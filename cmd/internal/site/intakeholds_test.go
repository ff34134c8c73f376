//go:build !race

package site_test

import (
	"fmt"
	"strings"
	"testing"

	"listbound/cmd/internal/site"
	"listbound/events"
)

// TestIntakeHoldsCorrections: what is recorded rests on what is in force, in one batch and in many.
func TestIntakeHoldsCorrections(t *testing.T) {
	idOf := func(line string) string {
		for _, r := range events.Observations(strings.NewReader(line)) {
			id, err := r.Observation.ID()
			if err != nil {
				t.Fatal(err)
			}
			return id
		}
		return ""
	}
	lines := strings.SplitAfter(oneList, "\n")
	list, packed, sealed := lines[0], lines[1], lines[2]
	again := strings.NewReplacer("north/packing-1", "north/packing-2", "T06:11", "T06:30").Replace(packed)
	correct := func(minute int, of, rest string) string {
		return fmt.Sprintf(`{"station":"north/packing-1","kind":"event.corrected","time":"2026-03-02T07:%02d:00Z",`+
			`"data":{"event":%q,"reason":"typed wrongly",%s}}`+"\n", minute, idOf(of), rest)
	}
	const checked = `{"station":"north/storage","kind":"set.checked","time":"2026-03-02T08:00:00Z","set":"LAP-014",` +
		`"data":{}}` + "\n"
	count := `{"station":"north/or-3","kind":"set.counted","time":"2026-03-02T09:00:00Z","set":"LAP-014",` +
		`"data":{"case":"K-1","stage":"first","sheet":"screen","counter":"B-1","witness":"B-2","counts":[{"line":2,` +
		`"counted":3}]}}` + "\n"
	newLines := `"action":"replace","data":{"list":"LAP-MAJOR","version":3,"title":"Laparotomy, major",` +
		`"lines":[{"line":1,"item":"FCP-125","description":"Forceps","quantity":6},{"line":2,"item":"SCI-140",` +
		`"description":"Scissors","quantity":3}]}`
	for _, tt := range []struct {
		name  string
		lines []string
		want  string // of the last line: part of its refusal
		check func(t *testing.T, s *site.Site, got []site.Receipt)
	}{
		{"a packing taken back", []string{list, packed, sealed, again, correct(0, again, `"action":"void"`), checked},
			"", func(t *testing.T, _ *site.Site, got []site.Receipt) {
				if got[5].Trip != got[1].Trip || got[3].Trip == got[1].Trip {
					t.Errorf("the scan belongs to trip %s, the packing in force to %s", got[5].Trip, got[1].Trip)
				}
			}},
		{"the only packing taken back", []string{list, packed, correct(0, packed, `"action":"void"`),
			strings.Replace(sealed, "T06:14", "T07:30", 1)}, "has no trip", nil},
		{"a list with another line", []string{list, correct(0, list, newLines), packed, sealed, count}, "",
			func(t *testing.T, s *site.Site, _ []site.Receipt) {
				vs, err := s.Lists(t.Context(), "LAP-MAJOR")
				if err != nil || len(vs) != 1 || len(vs[0].LineRows) != 2 {
					t.Errorf("lists: %+v, %v", vs, err)
				}
				broken, err := s.Broken(t.Context())
				if err != nil {
					t.Fatal(err)
				}
				for _, v := range broken {
					for _, f := range v.Findings {
						if f.Code == "sheet-altered" {
							t.Errorf("the seal is held against the old lines: %s", f.Says)
						}
					}
				}
			}},
		{"a list taken back", []string{list, correct(0, list, `"action":"void"`), packed}, "not known here", nil},
		{"a list taken back and issued anew", []string{list, correct(0, list, `"action":"void"`),
			strings.NewReplacer(`"quantity":6`, `"quantity":8`, "T05:00", "T05:30").Replace(list), packed}, "", nil},
		{"of another set", []string{list, packed, strings.Replace(correct(0, packed, `"action":"void"`), `"data":`,
			`"set":"LAP-099","data":`, 1)}, "is about LAP-014, not LAP-099", nil},
		{"of another turn", []string{list, packed, again, strings.Replace(correct(0, packed, `"action":"void"`), `"data":`,
			`"set":"LAP-014","trip":"019cad2b-e120-7427-aa0f-366993127450","data":`, 1)}, "belongs to another trip", nil},
		{"a packing by no list",
			[]string{list, packed, correct(0, packed, `"action":"replace","data":{"list":"NOPE","version":7}`)},
			"replacing a set.packed: list NOPE is not known here", nil},
		{"a packing with no such line", []string{list, packed, correct(0, packed, `"action":"replace",`+
			`"data":{"list":"LAP-MAJOR","version":3,"exceptions":[{"line":77,"counted":1,"reason":"missing"}]}`)},
			"has no line 77", nil},
		{"another list in its place",
			[]string{list, correct(0, list, strings.Replace(newLines, `"version":3`, `"version":4`, 1))},
			"another list or version is issued", nil},
	} {
		for _, together := range []bool{true, false} {
			t.Run(fmt.Sprintf("%s, together %t", tt.name, together), func(t *testing.T) {
				s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true})
				var got []site.Receipt
				if together {
					got = record(t, s, strings.Join(tt.lines, ""))
				} else {
					for _, line := range tt.lines {
						got = append(got, record(t, s, line)...)
					}
				}
				for i, r := range got {
					want := ""
					if i == len(got)-1 {
						want = tt.want
					}
					if (r.Error != "") != (want != "") || !strings.Contains(r.Error, want) {
						t.Errorf("line %d: %+v, want %q", i+1, r, want)
					}
				}
				if tt.check != nil && len(got) == len(tt.lines) {
					tt.check(t, s, got)
				}
			})
		}
	}
}

// TestTurnOfAnotherSet: nothing of one set is recorded in the turn of another, a packing neither.
func TestTurnOfAnotherSet(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true})
	lines := strings.SplitAfter(oneList, "\n")
	list, packed := lines[0], lines[1]
	got := record(t, s, list+packed)
	turn := got[1].Trip
	if turn == "" {
		t.Fatalf("%+v", got)
	}
	other := strings.Replace(packed, "LAP-014", "LAP-015", 1)
	if r := record(t, s, other); r[0].Error != "" {
		t.Fatal(r[0].Error)
	}
	in := func(line string) string { return strings.Replace(line, `"data":`, `"trip":"`+turn+`","data":`, 1) }
	const checked = `{"station":"north/storage","kind":"set.checked","time":"2026-03-02T08:00:00Z","set":"LAP-015","data":{}}` + "\n"
	size := s.Size()
	for _, line := range []string{in(checked), in(strings.Replace(other, "T06:11", "T06:41", 1))} {
		if r := record(t, s, line); !strings.Contains(r[0].Error, "is one of set LAP-014, not of set LAP-015") || s.Size() != size {
			t.Errorf("%s: %+v", line, r[0])
		}
	}
	if r := record(t, s, checked+in(strings.Replace(checked, "LAP-015", "LAP-014", 1))); r[0].Error+r[1].Error != "" || r[1].Trip != turn {
		t.Errorf("each in its own: %+v", r)
	}
}
