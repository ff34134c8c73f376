// Package workplace serves the stations' pages: packing, sealing, sterilizer,
// storage, opening, count and close, and the lists.
//
// A page has one field that always has the focus. A scanner types into it and
// ends with Enter; a person may type the same. What was scanned goes to the
// server at once (POST …/scan), which says what it took it for, shows a verdict
// in words, with a shape and a sound, and the page as it then is:
//
//	POST /at/{site}/{station}/{workplace}/scan  {"client":"c1","n":7,"text":"X9TLAP-0143"}
//	-> {"n":7,"kind":"set","what":"LAP-014","status":"open","words":"…","more":"…","next":"…","sound":"good",
//	    "verdict":"<html>","bench":"<html>"}
//
// client and n number what one browser sends, so that a scan sent again after a
// broken connection counts once. …/do takes what buttons and forms say:
// {"client":"c1","n":8,"action":"record","fields":{…}}.
//
// What is entered and not yet recorded is a draft: a file in the data folder,
// written before the answer. A draft is not a record. It becomes one when the
// people who must sign have signed.
package workplace

import (
	"cmp"
	"context"
	"embed"
	"errors"
	"fmt"
	"hash/maphash"
	"html/template"
	"io"
	"io/fs"
	"log/slog"
	"net/http"
	"net/url"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/paper/marks"
	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/version"
	"listbound/cmd/internal/workplace/hub"
	"listbound/events"
)

//go:embed templates
var templateFiles embed.FS

//go:embed assets
var assetFiles embed.FS

// Options say where the pages stand.
type Options struct {
	// Prefix goes before every address: "" or, for practice, "/practice".
	Prefix string
	// Practice marks every page: its site is another one than the real.
	Practice bool
	// OtherPrefix is where the other of the two is served, "-" where it isn't.
	OtherPrefix string
	// Version says which program this is; another one replaces what browsers keep.
	// It is that of the build where it is empty.
	Version string
	Log     *slog.Logger
	Pins    Pins // nil: nobody is asked for one
	// Locks is how many locks the benches and counts share, 0 for as many as keep them from waiting for each other. With one,
	// whoever takes a second while holding the first waits for itself: so tests find that at once.
	Locks int
}

const usualLocks = 64

// Desk serves the workplaces of one site.
type Desk struct {
	site  *site.Site
	sh    *shell.Shell
	opts  Options
	tmpl  map[string]*template.Template
	words []*shell.Words // in each language
	files store
	paper *paperReader
	at    map[string]workplace // by name
	hub   hub.Hub              // of pages, by the key of their draft

	// Each bench and each count has one of these by its key. Two that share one
	// wait for each other, which costs little; none is held while another is taken.
	locks []sync.Mutex
	// The file of each sheet that is read back has one of these; a bench's lock may be held.
	sheets []sync.Mutex
	// papers is held while counts of a sheet are recorded from paper, with the lock of the bench.
	papers sync.Mutex
	seed   maphash.Seed

	workers sync.Mutex // held while who works at a station is read or written; a bench's lock may be held

	goods goodsKept

	photoMu sync.Mutex // photographs are read one at a time

	knownMu sync.Mutex // held while what is known of plain codes is read or written
}

// workplace is a page of a station.
type workplace interface {
	page(*visit) (*rendered, error)
	// state is what the page fetches when something has changed.
	state(*visit) (any, error)
	// input takes what the page sends.
	input(v *visit, verb string) (any, error)
}

// workplaces is the table of all workplaces, in the order of a set's way. A new
// one is a row here and a file with its draft; what its page shows beyond who
// works there and what lies there is a template bench-NAME.
func workplaces() []struct {
	name string
	workplace
} {
	return []struct {
		name string
		workplace
	}{
		{"packing", packingPlace()},
		{"sealing", sealingPlace()},
		{"sterilizer", sterilizerPlace()},
		{"storage", storagePlace()},
		{"opening", openingPlace()},
		{"count", countPlace()},
		{"close", closingPlace()},
		{"return", returnPlace()},
		{"pieces", piecesPlace()},
		{"readback", readbackPlace()},
	}
}

// Places names the workplaces, in the order of a set's way.
func Places() []string {
	var out []string
	for _, w := range workplaces() {
		out = append(out, w.name)
	}
	return out
}

// Register adds the pages of a site to a mux.
func Register(mux shell.Mux, sh *shell.Shell, s *site.Site, opts Options) error {
	d, err := newDesk(sh, s, opts)
	if err != nil {
		return err
	}
	return d.register(mux)
}

func newDesk(sh *shell.Shell, s *site.Site, opts Options) (*Desk, error) {
	if opts.Log == nil {
		opts.Log = slog.New(slog.DiscardHandler)
	}
	opts.Version = cmp.Or(opts.Version, version.String())
	d := &Desk{
		site: s, sh: sh, opts: opts, seed: maphash.MakeSeed(),
		files: store{filepath.Join(s.Dir(), "drafts")}, at: make(map[string]workplace),
		locks: make([]sync.Mutex, cmp.Or(opts.Locks, usualLocks)), sheets: make([]sync.Mutex, cmp.Or(opts.Locks, usualLocks)),
	}
	for _, w := range workplaces() {
		d.at[w.name] = w.workplace
	}
	d.paper = &paperReader{site: s, files: d.files, practice: opts.Practice, read: marks.Read, seat: make(chan struct{}, 1),
		lock: d.lockSheet, told: func(string) { d.hub.TellAll(atAnyStation("readback")) }}
	for _, lang := range s.Local().Languages() {
		d.words = append(d.words, shell.WordsIn(s.Local(), lang))
	}
	s.Aside(d.standAside)
	if err := d.files.expirePapers(s.Clock()); err != nil {
		return nil, err
	}
	var err error
	d.tmpl, err = sh.Templates(templateFiles, template.FuncMap{
		"prefix": func() string { return opts.Prefix }, "places": Places, "stationPath": d.stationPath,
		"list": func(s ...string) []string { return s }, "q": url.QueryEscape, "esc": url.PathEscape,
		"has": slices.Contains[[]string], "faulty": slices.Contains[[]events.PackageFault],
		"returned": slices.Contains[[]events.ReturnFault], "keyed": keyed,
		"practice": func() bool { return opts.Practice }, "zone": func() string { return s.Zone().String() },
	}, "templates/*.html")
	return d, err
}

func (d *Desk) register(mux shell.Mux) error {
	assets, err := fs.Sub(assetFiles, "assets")
	if err != nil {
		return fmt.Errorf("workplace assets: %w", err)
	}
	p := d.opts.Prefix
	if err := d.sh.Serve(mux, p+"/workplace/", assets); err != nil {
		return err
	}
	at := p + "/at/{site}/{station}/"
	mux.HandleFunc("GET "+p+"/at/{$}", d.page(d.stationsPage))
	if err := d.registerWorker(mux, assets); err != nil {
		return err
	}
	mux.HandleFunc("GET "+at+"{$}", d.page(d.stationPage))
	mux.HandleFunc("GET "+at+"known", d.answer(d.known))
	mux.HandleFunc("GET "+at+"{place}", d.page(d.placePage))
	mux.HandleFunc("GET "+at+"{place}/state", d.answer(d.placeState))
	mux.HandleFunc("POST "+at+"{place}/{verb}", d.answer(d.placeInput))
	mux.HandleFunc("GET "+at+"{place}/changes", d.changes)
	d.registerLists(mux)
	d.registerRegisters(mux)
	d.registerPrint(mux)
	d.registerReadback(mux)
	d.registerTasks(mux)
	return nil
}

// workplace finds the one that a request is for.
func (d *Desk) workplace(v *visit) (workplace, error) {
	if w, ok := d.at[v.place]; ok {
		return w, nil
	}
	return nil, fmt.Errorf("%w: there is no workplace %s", site.ErrNotFound, v.place)
}

func (d *Desk) placePage(v *visit) (*rendered, error) {
	w, err := d.workplace(v)
	if err != nil {
		return nil, err
	}
	return w.page(v)
}

func (d *Desk) placeState(v *visit) (any, error) {
	w, err := d.workplace(v)
	if err != nil {
		return nil, err
	}
	return w.state(v)
}

func (d *Desk) placeInput(v *visit) (any, error) {
	w, err := d.workplace(v)
	if err != nil {
		return nil, err
	}
	return w.input(v, v.r.PathValue("verb"))
}

func (d *Desk) stationPath(station string, more ...string) string {
	return d.opts.Prefix + "/at/" + station + "/" + strings.Join(more, "/")
}

// lock serializes what happens to one bench or one count.
func (d *Desk) lock(key string) func() {
	l := &d.locks[maphash.String(d.seed, key)%uint64(len(d.locks))]
	l.Lock()
	return l.Unlock
}

// lockSheet serializes what happens to the file of a sheet that is read back. It is none of the locks of benches: one that shared
// its own with the sheet would wait for itself.
func (d *Desk) lockSheet(code string) func() {
	l := &d.sheets[maphash.String(d.seed, code)%uint64(len(d.sheets))]
	l.Lock()
	return l.Unlock
}

// standAside returns when no draft is being written, and lets none be written until the release.
func (d *Desk) standAside() (release func()) {
	var held []*sync.Mutex
	for i := range d.locks {
		held = append(held, &d.locks[i])
	}
	for i := range d.sheets {
		held = append(held, &d.sheets[i])
	}
	held = append(held, &d.workers, &d.knownMu) // in the order in which one is taken while another is held
	for _, l := range held {
		l.Lock()
	}
	return func() {
		for _, l := range held {
			l.Unlock()
		}
	}
}

// visit is one request at a station.
type visit struct {
	context.Context
	d       *Desk
	r       *http.Request
	w       *shell.Words
	station string
	ownKey  string // names the station's key where that is not here: what is recorded for it is signed where it is
	n       int64  // of the input
	place   string
	now     time.Time

	key string // of the input that is taken
	// client is the browser that it comes from, and shown the revision that its page showed, 0 for none.
	client string
	shown  int64
	scan   events.Scan // that is taken just now
	// elsewhere: another question is in sight than what is asked here, or the page shows
	// what was here before, so that a badge says who works here and ends nothing.
	elsewhere bool
	waited    bool                 // it was sent later than it was entered, and meets what its page did not show
	stood     map[string]*standing // looked up for this request already
	inForce   *events.Policy       // likewise
	bySaid    string               // the plain code that is known by what people have said
	made      map[string]makes     // how each text was made
}

func (d *Desk) visit(r *http.Request) (*visit, error) {
	v := &visit{Context: r.Context(), d: d, r: r, w: d.sh.Words(r), place: r.PathValue("place"), now: d.site.Clock()}
	if r.PathValue("site") == "" {
		return v, nil
	}
	v.station = r.PathValue("site") + "/" + r.PathValue("station")
	if err := events.CheckStation(v.station); err != nil {
		return nil, fmt.Errorf("%w: %w", site.ErrNotFound, err)
	}
	stations, err := d.site.Stations(r.Context())
	if err != nil {
		return nil, err
	}
	for _, s := range stations {
		if s.Name == v.station && s.Enrolled > 0 && s.Retired == 0 && s.Name != d.site.Name() {
			return v, v.withOwnKey(&s)
		}
	}
	return nil, refusal.WithCode(http.StatusNotFound, "%s", v.t("not-enrolled", v.station))
}

// withOwnKey sees to it that what is entered at a station with a key of its own is signed by that key. What is known can
// be looked at by anybody; what is entered in a browser that hasn't the key could not be signed.
func (v *visit) withOwnKey(s *site.Station) error {
	if s.Here {
		return nil
	}
	v.ownKey = site.KeyID(s.Key)
	if v.r.Method != http.MethodGet && v.r.Method != http.MethodHead && v.r.Header.Get(site.KeyHeader) != v.ownKey {
		return refusal.WithCode(http.StatusForbidden, "%s", v.t("own-key", v.station))
	}
	return nil
}

// toSign is the answer to an input that is recorded once the station has signed what it comes to.
type toSign struct {
	N    int64           `json:"n"`
	Sign []site.Unsigned `json:"sign"`
}

// view is what a page template gets.
type view struct {
	Station  string
	Place    string
	Practice bool
	OwnKey   string // names the key of a station that signs elsewhere: without it nothing can be recorded here
	PIN      bool   // badges are taken here only once their PIN was given
	Other    string // address of the other ledger's workplaces, "" for none
	Things   []task // whose things are scanned by a press of a button; for practice only
	Behind   int64  // how many records no verdict knows of
	Data     any
}

type rendered struct {
	name, title string
	scripts     []string
	wide        bool
	data        any
}

// page turns a function that finds what to show into a handler.
func (d *Desk) page(f func(*visit) (*rendered, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		v, err := d.visit(r)
		var out *rendered
		if err == nil {
			out, err = f(v)
		}
		code := http.StatusOK
		words := d.sh.Words(r)
		var m *moved
		if errors.As(err, &m) {
			if m.keep != nil {
				http.SetCookie(w, m.keep)
			}
			http.Redirect(w, r, m.to, http.StatusSeeOther)
			return
		}
		if err != nil {
			a := d.sh.PageAnswer(r, err)
			a.Head(w.Header())
			code = a.Code
			out = &rendered{name: "refused", title: words.T("workplace.refused"), data: a.Text}
			v = &visit{}
		}
		title := out.title
		if d.opts.Practice {
			title = words.T("workplace.practice") + " – " + title
		}
		other := ""
		if d.opts.OtherPrefix != "-" {
			other = d.opts.OtherPrefix + "/at/"
		}
		body := view{
			Station: v.station, Place: v.place, Practice: d.opts.Practice, OwnKey: v.ownKey, Other: other, Behind: d.site.Behind(),
			Data: out.data,
		}
		if err == nil {
			if body.PIN, err = v.asksPIN(); err != nil {
				d.opts.Log.Warn("whether a PIN is asked for is not shown", "station", v.station, "error", err)
			}
			if body.Things, err = v.thingsHere(); err != nil {
				d.opts.Log.Warn("things to practise with are not shown", "station", v.station, "error", err)
			}
		}
		d.sh.Render(w, r, code, d.tmpl, out.name, shell.Page{
			Title: title, Scripts: out.scripts, Wide: out.wide, Base: d.opts.Prefix,
			Live:   len(out.scripts) > 0, // they show each verdict anew
			Styles: []string{d.opts.Prefix + "/workplace/workplace.css"},
			Body:   body,
		})
	}
}

// maxInput bounds what a page sends at once.
const maxInput = 1 << 20

// answer turns a function into a JSON handler.
func (d *Desk) answer(f func(*visit) (any, error)) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		r.Body = http.MaxBytesReader(w, r.Body, maxInput)
		v, err := d.visit(r)
		var out any
		if err == nil {
			out, err = f(v)
		}
		if v != nil && v.ownKey != "" {
			head, err := d.site.Head(r.Context(), v.station)
			if err != nil {
				d.sh.FailJSON(w, r, err)
				return
			}
			w.Header().Set(site.HeadHeader, head.String())
		}
		var unsigned *site.UnsignedError
		if errors.As(err, &unsigned) {
			out, err = toSign{v.n, unsigned.Events}, nil
		}
		if err != nil {
			d.sh.FailJSON(w, r, err)
			return
		}
		d.sh.WriteJSON(w, r, http.StatusOK, out)
	}
}

// How long an input may have waited. What waited for a shift is taken once a person has
// seen what it is and of when: the browser's clock may have been set meanwhile. What is
// older than a month is entered anew.
const (
	longestWait = 12 * time.Hour // as in assets/station.js
	longestKept = 31 * 24 * time.Hour
)

// input is what a page sends.
type input struct {
	Client string            `json:"client"`
	N      int64             `json:"n"`
	Ago    int64             `json:"ago"`  // milliseconds since it was entered, where it had to wait
	Sure   bool              `json:"sure"` // it waited for long, and a person has said that it is still meant
	At     int64             `json:"at"`   // when it was entered, in milliseconds of the browser's clock
	Rev    int64             `json:"rev"`  // of what the page showed
	Text   string            `json:"text"`
	Action string            `json:"action"`
	Fields map[string]string `json:"fields"`
	Hand   string            `json:"hand"` // the set whose line a count page shows as the one to count
	Case   string            `json:"case"`
	Stage  events.Stage      `json:"stage"`
	Lines  []lineInput       `json:"lines"`
	Under  bool              `json:"under"` // a count page showed a question with answers
	Seen   map[string]int64  `json:"seen"`  // revision of each set's count as the page showed it
	// Signed is what the station signed of what this input records.
	Signed []site.SignedRecord `json:"signed"`
}

func (v *visit) input() (*input, error) {
	raw, err := io.ReadAll(v.r.Body)
	if err != nil {
		return nil, fmt.Errorf("reading the input: %w", err)
	}
	in := new(input)
	if err := json.Unmarshal(raw, in, json.RejectUnknownMembers(true)); err != nil {
		return nil, v.sayNo("input-unreadable")
	}
	if len(in.Client) > 64 || in.Client == "" {
		return nil, v.sayNo("input-unreadable")
	}
	if v.n = in.N; v.ownKey != "" {
		v.Context = site.WithOwnKey(v.Context, v.station, in.Signed)
	}
	// A browser's clock is not asked, only how long it waited.
	switch wait := time.Duration(in.Ago) * time.Millisecond; {
	case in.Ago > longestKept.Milliseconds(), wait >= longestWait && !in.Sure:
		return nil, v.sayNo("waited-too-long") // it is never of now
	case wait > 0:
		v.now = v.now.Add(-wait)
	}
	// What the station signed of this input was said of the moment at which it came first. A moment later it would be
	// said of another time, and no signature would ever fit.
	v.now = site.SignedOf(in.Signed, v.now)
	return in, nil
}

// key tells one input from every other.
func (in *input) key() string { return in.Client + " " + strconv.FormatInt(in.N, 10) }

// once remembers the highest number that each browser has sent, so that nothing
// counts twice: the browser that spoke last is the last. It is part of the draft
// it guards.
type once []heard

type heard struct {
	Client string `json:"client"`
	N      int64  `json:"n"`
	Stale  bool   `json:"stale,omitempty"` // N was not taken
}

// UnmarshalJSON also reads the drafts of earlier versions, which did not keep who
// spoke last.
func (o *once) UnmarshalJSON(raw []byte) error {
	var list []heard
	if len(raw) > 0 && raw[0] == '[' {
		err := json.Unmarshal(raw, &list)
		*o = list
		return err
	}
	var byClient map[string]int64
	if err := json.Unmarshal(raw, &byClient); err != nil {
		return err
	}
	for client, n := range byClient {
		list = append(list, heard{Client: client, N: n})
	}
	slices.SortFunc(list, func(a, b heard) int { return cmp.Compare(a.N, b.N) })
	*o = list
	return nil
}

// has reports whether a browser has sent n, or a later number.
func (o once) has(client string, n int64) bool {
	return slices.ContainsFunc(o, func(h heard) bool { return h.Client == client && h.N >= n })
}

// stale reports whether n, which a browser sent last, was not taken.
func (o once) stale(client string, n int64) bool {
	return slices.Contains(o, heard{client, n, true})
}

// add takes note of n. Of many browsers the one that has been silent for longest
// is forgotten.
func (o *once) add(client string, n int64) {
	list := slices.DeleteFunc(*o, func(h heard) bool { return h.Client == client })
	list = append(list, heard{Client: client, N: n})
	const kept = 50
	*o = list[max(len(list)-kept, 0):]
}

// fresh reports whether n is new, and takes note of it.
func (o *once) fresh(client string, n int64) bool {
	if o.has(client, n) {
		return false
	}
	o.add(client, n)
	return true
}

// changes is the stream of a page: it looks again when its draft or the ledger
// has changed.
func (d *Desk) changes(w http.ResponseWriter, r *http.Request) {
	v, err := d.visit(r)
	if err != nil {
		d.sh.FailText(w, r, err)
		return
	}
	key := benchKey(v.station, v.place)
	if ref := r.FormValue("case"); ref != "" {
		key = countKey(ref)
	}
	page := d.hub.Listen(key, r.FormValue("client"))
	defer page.End()
	ledger, stop := d.site.Changes()
	defer stop()
	go func() {
		for {
			select {
			case <-r.Context().Done():
				return
			case <-ledger:
				page.Nudge()
			}
		}
	}()
	shell.Changes(w, r, page.Changed())
}

// stationRow is a station in the list of all.
type stationRow struct {
	site.Station
	Cases []string
}

func (d *Desk) stationsPage(v *visit) (*rendered, error) {
	all, err := d.site.Stations(v)
	if err != nil {
		return nil, err
	}
	var rows []stationRow
	for _, s := range all {
		if s.Enrolled > 0 && s.Retired == 0 && s.Name != d.site.Name() {
			cases, err := v.openCases(s.Name)
			if err != nil {
				return nil, err
			}
			rows = append(rows, stationRow{Station: s, Cases: cases})
		}
	}
	custody, err := d.site.Custody(v, func(name string) int64 {
		if slices.ContainsFunc(rows, func(r stationRow) bool { return r.Name == name }) {
			return d.site.Size() + 1 // whose key signs from now on
		}
		return 0
	})
	if err != nil {
		return nil, err
	}
	return &rendered{name: "stations", title: v.t("stations"), data: stationsBody{rows, v.w.Custody(custody)}}, nil
}

type stationsBody struct {
	Rows    []stationRow
	Custody []string
}

type stationBody struct {
	Places []string
	Cases  []string
}

// dayAndHalf is how far back a room's open cases are looked for.
const dayAndHalf = 36 * time.Hour

// openCases returns the cases that a station opened sets for lately and that
// are not closed.
func (v *visit) openCases(station string) ([]string, error) {
	return site.Answer(v.d.site, func(m *site.View) ([]string, error) {
		cases, err := m.OpenCases(v, station, v.now.Add(-dayAndHalf))
		if err != nil {
			return nil, err
		}
		var open []string
		for _, ref := range cases {
			st, err := m.World(v).CaseStanding(ref)
			if err != nil {
				return nil, err
			}
			if !st.Closed {
				open = append(open, ref)
			}
		}
		return open, nil
	})
}

func (d *Desk) stationPage(v *visit) (*rendered, error) {
	cases, err := v.openCases(v.station)
	if err != nil {
		return nil, err
	}
	return &rendered{name: "station", title: v.station, data: stationBody{Places(), cases}}, nil
}
