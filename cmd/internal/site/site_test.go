package site_test

import (
	"bytes"
	"database/sql"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"go.uber.org/goleak"
	_ "modernc.org/sqlite" // reads the tables as anybody with a SQLite client may

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/scenario"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
	"listbound/events"
	"listbound/ledger"
	"listbound/projections"
)

func TestMain(m *testing.M) {
	goleak.VerifyTestMain(m,
		goleak.IgnoreAnyFunction("github.com/nats-io/nats-server/v2/server.(*fileStore).flushLoop"))
}

// fixed is a clock that stands still: nothing here depends on how long it takes.
func fixed(t time.Time) func() time.Time { return func() time.Time { return t } }

var noon = time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)

func open(t testing.TB, dir string, o site.Options) *site.Site {
	t.Helper()
	o.Dir = dir
	if o.Clock == nil {
		o.Clock = fixed(noon)
	}
	return sitetest.Open(t, o)
}

func record(t testing.TB, s *site.Site, lines string) []site.Receipt {
	t.Helper()
	var out []site.Receipt
	err := s.Record(t.Context(), strings.NewReader(lines), func(r site.Receipt) error {
		out = append(out, r)
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return out
}

// weekLines returns the built-in week as one file of observations.
func weekLines(t testing.TB) []string {
	t.Helper()
	w, err := scenario.Load()
	if err != nil {
		t.Fatal(err)
	}
	var out []string
	for l, err := range w.Lines() {
		if err != nil {
			t.Fatal(err)
		}
		out = append(out, string(l.Raw))
	}
	if len(out) < 2000 {
		t.Fatalf("the week has only %d lines", len(out))
	}
	return out
}

// settled returns where a folder's read model lies, with all that was judged written: who asks has it written.
func settled(t *testing.T, s *site.Site, dir string) string {
	t.Helper()
	if err := s.Ask(func(*site.View) error { return nil }); err != nil {
		t.Fatal(err)
	}
	return filepath.Join(dir, "readmodel.db")
}

// dump reads every row of every table, so that two read models can be compared.
func dump(t *testing.T, path string) string {
	t.Helper()
	db, err := sql.Open("sqlite", "file:"+path+"?mode=ro")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	var b strings.Builder
	rows := 0
	for _, table := range []string{"events", "trips", "findings", "stations"} {
		fmt.Fprintf(&b, "== %s\n", table)
		rows += dumpTable(t, db, table, &b)
	}
	if rows == 0 {
		t.Fatal("the read model is empty")
	}
	return b.String()
}

func dumpTable(t *testing.T, db *sql.DB, table string, b *strings.Builder) (n int) {
	t.Helper()
	rs, err := db.Query("SELECT * FROM " + table + " ORDER BY 1, 2, 3")
	if err != nil {
		t.Fatal(err)
	}
	defer rs.Close()
	cols, err := rs.Columns()
	if err != nil {
		t.Fatal(err)
	}
	vals, ptrs := make([]any, len(cols)), make([]any, len(cols))
	for i := range vals {
		ptrs[i] = &vals[i]
	}
	for rs.Next() {
		if err := rs.Scan(ptrs...); err != nil {
			t.Fatal(err)
		}
		for i, v := range vals {
			if cols[i] == "rests" {
				continue // while running a question may be kept that reaches farther: more is judged anew, and no verdict differs
			}
			if raw, ok := v.([]byte); ok {
				v = hex.EncodeToString(raw)
			}
			fmt.Fprintf(b, "%v|", v)
		}
		b.WriteByte('\n')
		n++
	}
	if err := rs.Err(); err != nil {
		t.Fatal(err)
	}
	return n
}

func diffLines(a, b string) string {
	as, bs := strings.Split(a, "\n"), strings.Split(b, "\n")
	for i := range min(len(as), len(bs)) {
		if as[i] != bs[i] {
			return fmt.Sprintf("row %d:\n%s\n%s", i, as[i], bs[i])
		}
	}
	return fmt.Sprintf("%d and %d rows", len(as), len(bs))
}

const oneList = `{"station":"north/packing-1","kind":"list.issued","time":"2026-03-02T05:00:00Z","operator":"B-1182",` +
	`"data":{"list":"LAP-MAJOR","version":3,"title":"Laparotomy, major",` +
	`"lines":[{"line":1,"item":"FCP-125","description":"Forceps, mosquito, curved, 12.5 cm","quantity":6}]}}
{"station":"north/packing-1","kind":"set.packed","time":"2026-03-02T06:11:00Z","set":"LAP-014","operator":"B-1182",` +
	`"data":{"list":"LAP-MAJOR","version":3,"exceptions":[{"line":1,"counted":5,"reason":"missing"}],"weightKg":8.4}}
{"station":"north/packing-1","kind":"list.sealed","time":"2026-03-02T06:14:00Z","set":"LAP-014","operator":"B-1182",` +
	`"data":{"placement":"outside","seals":["483920"]}}
`

// TestRefusals: each bad line gets its number and reason, costs nothing else,
// and leaves no trace; recording the file again stores nothing.
func TestRefusals(t *testing.T) {
	bad := []struct{ line, says string }{
		{`{"station":"north/packing-1","kind":"set.packed","time":"2026-03-02T07:00:00Z","set":"LAP-015",` +
			`"data":{"list":"NOPE","version":1}}`, "list NOPE is not known here"},
		{`{"station":"north/packing-1","kind":"set.packed","time":"2026-03-02T07:00:00Z","set":"LAP-015",` +
			`"data":{"list":"LAP-MAJOR","version":4}}`, "has no version 4 here"},
		{`{"station":"north/packing-1","kind":"set.packed","time":"2026-03-02T07:00:00Z","set":"LAP-015",` +
			`"data":{"list":"LAP-MAJOR","version":3,"exceptions":[{"line":9,"counted":1,"reason":"missing"}]}}`,
			"has no line 9"},
		{`{"station":"north/or-1","kind":"set.opened","time":"2026-03-02T09:00:00Z","set":"LAP-014",` +
			`"trip":"019cad2b-e120-7427-aa0f-366993127450","data":{"case":"K-1"}}`, "is not known here"},
		{`{"station":"north/or-1","kind":"list.sealed","time":"2026-03-02T09:00:00Z","set":"LAP-099",` +
			`"data":{"placement":"outside"}}`, "has no trip"},
		{`{"station":"north/or-1","kind":"set.counted","time":"2026-03-02T09:00:00Z","set":"LAP-014",` +
			`"trip":"019cad2b-e120-7427-aa0f-366993127450","data":{"case":"K-1","stage":"first","sheet":"screen",` +
			`"counter":"B-1","counts":[{"line":2,"counted":5}]}}`, "is not known here"},
		{`{"station":"north/or-1","kind":"set.counted","time":"2026-03-02T09:00:00Z","set":"LAP-014",` +
			`"data":{"case":"K-1","stage":"first","sheet":"screen","counter":"B-1","counts":[{"line":1,` +
			`"counted":-1}]}}`, "it goes from 0 to 9999"},
		{`{"station":"north/or-1","kind":"set.counted","time":"2026-03-02T09:00:00Z","set":"LAP-014",` +
			`"data":{"case":"K-1","stage":"first","sheet":"screen","counter":"B-1","counts":[{"line":1,` +
			`"counted":10000}]}}`, "it goes from 0 to 9999"},
		{`{"station":"north/or-1","kind":"set.checked","time":"2026-03-02T09:00:00Z","set":"LAP-014",` +
			`"data":{"sheet":{"found":"none","code":"1U"}}}`, "yet a code"},
		{`{"station":"north/packing-1","kind":"list.issued","time":"2026-03-02T05:30:00Z","data":{"list":"LAP-MAJOR",` +
			`"version":3,"title":"Laparotomy, major","lines":[{"line":1,"item":"FCP-125","description":"Other",` +
			`"quantity":6}]}}`, "a changed list is a new version"},
		{`{"station":"north/packing-1","kind":"station.enrolled","time":"2026-03-02T05:30:00Z",` +
			`"data":{"station":"north/x","key":"k"}}`, "signed-note verifier key"},
		{`{"station":"south/ledger","kind":"policy.adopted","time":"2026-03-02T05:30:00Z","data":{"links":[],` +
			`"stages":[],"twoPersons":false,"mayStayUnread":[],"clockToleranceSeconds":1,"minimumTravelSeconds":1,` +
			`"weightLimitGrams":1,"recall":"since-last-negative"}}`, "is not this folder's ledger"},
		{`{"station":"north/ledger","kind":"set.checked","time":"2026-03-02T05:30:00Z","set":"LAP-014","data":{}}`,
			"is the ledger itself"},
		{`{"station":"north/or-1","kind":"event.corrected","time":"2026-03-02T09:00:00Z",` +
			`"data":{"event":"019cad2b-e120-7427-aa0f-366993127450","action":"void","reason":"x"}}`,
			"can't be corrected"},
		{`{"station":"north/or-1","kind":"finding.acknowledged","time":"2026-03-02T09:00:00Z","set":"LAP-014",` +
			`"data":{"code":"no-such","reason":"x"}}`, "is not a finding"},
		{`{"station":"north/or-1","kind":"set.packed","kind":"set.packed"}`, "stands twice"},
		{"{\"station\":\"north/or-1\",\"kind\":\"set.checked\",\"time\":\"2026-03-02T09:00:00Z\",\"set\":\"\xff\",\"data\":{}}", "UTF-8"},
		{`{"station":"north/or-1","kind":"set.checked","time":"2026-03-02T09:00:00Z","set":"` +
			strings.Repeat("A", events.MaxRecord) + `","data":{}}`, "a record has at most 60000"},
	}
	for _, batch := range []int{1, 200} {
		t.Run(fmt.Sprintf("batch %d", batch), func(t *testing.T) {
			s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true, Batch: batch})
			lines := strings.Split(strings.TrimSpace(oneList), "\n")
			for _, b := range bad {
				lines = append(lines, b.line)
			}
			last := `{"station":"north/storage","kind":"set.checked","time":"2026-03-02T10:00:00Z","set":"LAP-014",` +
				`"data":{"place":"A4"}}`
			lines = append(lines, last)
			got := record(t, s, strings.Join(lines, "\n"))
			if len(got) != len(lines) {
				t.Fatalf("%d receipts for %d lines", len(got), len(lines))
			}
			for i, r := range got {
				if i < 3 || i == len(got)-1 {
					if r.Error != "" || r.Seq == 0 {
						t.Errorf("good line %d: %+v", i+1, r)
					}
					continue
				}
				b := bad[i-3]
				if r.Line != i+1 || !strings.Contains(r.Error, b.says) || r.Seq != 0 {
					t.Errorf("line %d: %+v\nwant an error with %q", i+1, r, b.says)
				}
			}
			// 4 good lines and the enrolments of the 2 stations that made them: a refused line enrols nobody.
			if s.Size() != 6 {
				t.Errorf("%d records are stored, want 6", s.Size())
			}
			again := record(t, s, strings.Join(lines, "\n"))
			for i, r := range again {
				if r.Seq != got[i].Seq || r.Trip != got[i].Trip || r.SheetCode != got[i].SheetCode ||
					(r.Error == "") != r.Known {
					t.Errorf("line %d recorded again: %+v, first %+v", i+1, r, got[i])
				}
			}
			if s.Size() != 6 {
				t.Errorf("%d records after recording the same again", s.Size())
			}
			v, err := s.Verify(t.Context(), nil)
			if err != nil || !v.OK {
				t.Errorf("verify: %+v %v", v, err)
			}
		})
	}
}

// TestRepeatInOneBatch: the same line twice in one file is one record.
func TestRepeatInOneBatch(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true})
	got := record(t, s, oneList+oneList)
	for i := range 3 {
		if got[i].Seq == 0 || got[i+3].Seq != got[i].Seq || !got[i+3].Known || got[i+3].SheetCode != got[i].SheetCode {
			t.Errorf("line %d: %+v then %+v", i+1, got[i], got[i+3])
		}
	}
	if s.Size() != 4 {
		t.Errorf("%d records, want 3 and an enrolment", s.Size())
	}
}

// TestServerTakesOnlyEnrolled: without EnrolOnSight a new station is refused;
// enrolled, it records; retired, it is refused again.
func TestServerTakesOnlyEnrolled(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north"})
	line := func(minute int) string {
		return fmt.Sprintf(`{"station":"north/or-1","kind":"set.checked","time":"2026-03-02T09:%02d:00Z",`+
			`"set":"LAP-014","data":{}}`, minute)
	}
	if r := record(t, s, line(1)); !strings.Contains(r[0].Error, "not enrolled") {
		t.Errorf("a stranger: %+v", r[0])
	}
	if _, err := s.Enrol(t.Context(), "north/or-1", "", "new room"); err != nil {
		t.Fatal(err)
	}
	if r := record(t, s, line(2)); r[0].Seq != 2 {
		t.Errorf("enrolled: %+v", r[0])
	}
	if _, err := s.Retire(t.Context(), "north/or-1", "room closed", time.Time{}); err != nil {
		t.Fatal(err)
	}
	if r := record(t, s, line(3)); !strings.Contains(r[0].Error, "was retired") {
		t.Errorf("retired: %+v", r[0])
	}
	if _, err := s.Retire(t.Context(), "north or 1", "", time.Time{}); !refusal.Is(err) {
		t.Errorf("retiring what is no station: %v", err)
	}
	if _, err := s.Enrol(t.Context(), "north/or-2", "no key", ""); !refusal.Is(err) {
		t.Errorf("enrolling with what is no key: %v", err)
	}
	if _, err := s.Enrol(t.Context(), "north/ledger", "", ""); err == nil {
		t.Error("a ledger's name was enrolled as a station")
	}
	if s.Size() != 3 {
		t.Errorf("%d records, want enrolment, scan, retirement", s.Size())
	}
}

// TestOwned: a second opening names the first and says what to do.
func TestOwned(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, site.Options{Name: "north", Command: "listbound serve"})
	if err := s.SetURL("http://127.0.0.1:8320"); err != nil {
		t.Fatal(err)
	}
	_, err := site.Open(t.Context(), site.Options{Dir: dir, Clock: fixed(noon)})
	var owned *ledger.OwnedError
	if !errors.As(err, &owned) {
		t.Fatalf("a second opening: %v", err)
	}
	for _, want := range []string{"listbound serve", fmt.Sprint(os.Getpid()), "--server http://127.0.0.1:8320"} {
		if !strings.Contains(err.Error(), want) {
			t.Errorf("%q does not say %q", err, want)
		}
	}
}

// TestKeysStayPrivate: keys are for their owner only, and in no answer.
func TestKeysStayPrivate(t *testing.T) {
	dir := t.TempDir()
	s := open(t, dir, site.Options{Name: "north", EnrolOnSight: true})
	receipts := record(t, s, oneList)
	var bundle bytes.Buffer
	if err := s.Evidence(t.Context(), site.Query{Set: "LAP-014"}, &bundle); err != nil {
		t.Fatal(err)
	}
	stations, err := s.Stations(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	said := fmt.Sprint(receipts, stations) + bundle.String()
	keys := 0
	err = filepath.WalkDir(filepath.Join(dir, "keys"), func(path string, d os.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := d.Info()
		if err != nil {
			return err
		}
		if info.Mode().Perm()&0o077 != 0 {
			t.Errorf("%s has rights %o", d.Name(), info.Mode().Perm())
		}
		if d.IsDir() {
			return nil
		}
		keys++
		raw, err := os.ReadFile(path)
		if err != nil {
			return err
		}
		secret := strings.TrimSpace(string(raw))
		if strings.Contains(said, secret[len(secret)-40:]) {
			t.Errorf("%s can be read from an answer", d.Name())
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if keys != 2 {
		t.Errorf("%d keys, want the ledger's and the station's", keys)
	}
}

// TestReaderBreaksOff: what came before a broken read is recorded, and the error is said.
func TestReaderBreaksOff(t *testing.T) {
	s := open(t, t.TempDir(), site.Options{Name: "north", EnrolOnSight: true})
	broken := errors.New("the line went dead")
	n := 0
	err := s.Record(t.Context(), io.MultiReader(strings.NewReader(oneList), failing{broken}),
		func(r site.Receipt) error { n++; return nil })
	if !errors.Is(err, broken) || n != 3 || s.Size() != 4 {
		t.Errorf("%d receipts, %d records, %v", n, s.Size(), err)
	}
}

type failing struct{ err error }

func (f failing) Read([]byte) (int, error) { return 0, f.err }

// TestAsKnownAt: a history as of a moment leaves out what came later.
func TestAsKnownAt(t *testing.T) {
	now := noon
	s := open(t, t.TempDir(),
		site.Options{Name: "north", EnrolOnSight: true, Clock: func() time.Time { return now }, Batch: 1})
	record(t, s, oneList)
	now = noon.Add(2 * time.Hour)
	record(t, s, `{"station":"north/or-1","kind":"set.opened","time":"2026-03-02T09:00:00Z","set":"LAP-014",`+
		`"data":{"case":"K-1","sheet":{"found":"none"}}}`)
	then, err := s.History(t.Context(), site.Query{Set: "LAP-014", AsOf: noon.Add(time.Hour)})
	if err != nil {
		t.Fatal(err)
	}
	after, err := s.History(t.Context(), site.Query{Set: "LAP-014"})
	if err != nil {
		t.Fatal(err)
	}
	if len(then.Events) != 2 || then.Verdicts[0].Status != projections.Open {
		t.Errorf("as known before: %d events, %s", len(then.Events), then.Verdicts[0].Status)
	}
	if len(after.Events) != 3 || after.Verdicts[0].Status != projections.Broken || !after.Events[2].Late {
		t.Errorf("as known after: %+v", after)
	}
	if _, err := s.History(t.Context(), site.Query{Set: "NONE"}); !errors.Is(err, site.ErrNotFound) {
		t.Errorf("a set nobody knows: %v", err)
	}
	now = noon.Add(4 * time.Hour)
	record(t, s, `{"station":"north/packing-1","kind":"set.packed","time":"2026-03-02T10:00:00Z","set":"LAP-014",`+
		`"data":{"list":"LAP-MAJOR","version":3}}`)
	again, err := s.History(t.Context(), site.Query{Set: "LAP-014", AsOf: noon.Add(time.Hour)})
	if err != nil || len(again.Verdicts) != 1 || again.Verdicts[0].Trip != then.Verdicts[0].Trip {
		t.Errorf("a trip that began later is named: %+v, %v", again.Verdicts, err)
	}
}

var _ site.Service = (*site.Site)(nil)
