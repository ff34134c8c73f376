package workplace

import (
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/paper/marks"
	"listbound/cmd/internal/paper/pictures"
	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/events"
)

func esc(s string) string { return url.QueryEscape(s) }

// registerReadback adds what the page of sheets that are read back needs besides the rest: files, and cut-outs.
func (d *Desk) registerReadback(mux shell.Mux) {
	at := d.opts.Prefix + "/at/{site}/{station}/readback/"
	mux.HandleFunc("POST "+at+"pictures", d.takePictures)
	mux.HandleFunc("GET "+at+"cut-out", d.cutOut)
	mux.HandleFunc("POST "+d.opts.Prefix+"/api/paper", d.takePaper)
}

// pictureLine is what is answered of each page of a file, a line of JSON as soon as it was read.
type pictureLine struct {
	Page  int    `json:"page"` // of the file
	OK    bool   `json:"ok"`   // it was read, and nothing is to be said of it
	Read  bool   `json:"read"` // it was read
	Words string `json:"words"`
	Sheet string `json:"sheet,omitempty"`
	Set   string `json:"set,omitempty"`
	Asked int    `json:"asked,omitzero"`
}

// takePictures takes a file that was chosen or photographed at a station's page.
func (d *Desk) takePictures(w http.ResponseWriter, r *http.Request) {
	v, err := d.visit(r)
	if err != nil {
		d.sh.FailJSON(w, r, err)
		return
	}
	code := ""
	d.pictures(w, r, func(p PageRead) {
		if !p.settled {
			code = firstOf(p.Code, code)
		}
	})
	if code == "" {
		return
	}
	// The sheet that was read lies here where nothing else does.
	if err := d.layHere(v, code); err != nil {
		d.opts.Log.Error("a sheet that was read is not taken up", "station", v.station, "error", err)
	}
	d.hub.Tell(benchKey(v.station, "readback"), "")
}

// layHere takes a sheet up at a station where none is in hand.
func (d *Desk) layHere(v *visit, code string) error {
	v.place = "readback"
	p, ok := d.at["readback"].(bench[readback, *readback])
	if !ok {
		return errors.New("the workplace readback is no bench")
	}
	defer d.lock(benchKey(v.station, v.place))()
	b, err := p.load(v)
	if err != nil || b.Code != "" {
		return err
	}
	if _, err := b.takeUp(v, fields{"value": code}); err != nil {
		return err
	}
	b.Said, b.Active = said{}, v.now
	return p.save(v, b)
}

// takePaper takes a file from a program, such as one that watches the folder of a copier.
func (d *Desk) takePaper(w http.ResponseWriter, r *http.Request) {
	d.pictures(w, r, func(PageRead) {})
}

// pictures reads a file that is the body, and answers a line for each page of it.
func (d *Desk) pictures(w http.ResponseWriter, r *http.Request, each func(PageRead)) {
	most := int64(pictures.Usual().Bytes)
	file, err := io.ReadAll(http.MaxBytesReader(w, r.Body, most+1))
	if _, large := errors.AsType[*http.MaxBytesError](err); large {
		err = nil // Pages says so, by name
		file = make([]byte, most+1)
	}
	if err != nil {
		d.sh.FailJSON(w, r, refusal.WithCode(http.StatusBadRequest, "the file did not come in whole"))
		return
	}
	if _, err := d.paper.policy(r.Context()); err != nil { // before the first line, after which no other answer can be given
		d.sh.FailJSON(w, r, err)
		return
	}
	in := d.sh.Words(r).Language()
	w.Header().Set("Content-Type", "application/x-ndjson")
	out := http.NewResponseController(w)
	err = d.paper.take(r.Context(), file, func(p PageRead) error {
		each(p)
		line := pictureLine{Page: p.InFile, Sheet: p.Code, Set: p.Set, Asked: p.Asked}
		line.Words, line.OK = p.Say(in)
		line.Read = p.Err == nil
		raw, err := json.Marshal(line)
		if err == nil {
			_, err = w.Write(append(raw, '\n'))
		}
		if err == nil {
			err = out.Flush()
		}
		if errors.Is(err, http.ErrNotSupported) {
			err = nil
		}
		return err
	})
	if err != nil && r.Context().Err() == nil {
		d.opts.Log.Error("reading a file with sheets stopped", "error", err)
		raw, _ := json.Marshal(pictureLine{Words: in.Say("workplace.readback-failed")}) // of text alone
		w.Write(append(raw, '\n'))                                                      // a client that has gone needs no answer
	}
}

// cutOut shows what is asked about: one cell or one field of a page, and nothing around it.
func (d *Desk) cutOut(w http.ResponseWriter, r *http.Request) {
	_, err := d.visit(r)
	if err != nil {
		d.sh.FailText(w, r, err)
		return
	}
	sheet, found, err := d.files.paper(r.FormValue("sheet"))
	var cut []byte
	if found && err == nil {
		page, _ := strconv.Atoi(r.FormValue("page"))             // 0 where it is none
		line, _ := strconv.ParseInt(r.FormValue("line"), 10, 64) // likewise
		cut = sheet.cut(page, r.FormValue("field"), line, events.Stage(r.FormValue("stage")))
	}
	if len(cut) == 0 {
		d.sh.FailText(w, r, fmt.Errorf("%w: there is no such cut-out", site.ErrNotFound))
		return
	}
	w.Header().Set("Content-Type", "image/png")
	w.Write(cut) // a client that has gone away needs no answer
}

func (s *paperSheet) cut(page int, field string, line int64, stage events.Stage) []byte {
	if field != "" {
		f, _ := s.field(field)
		return f.Cut
	}
	if r, p := s.row(line); line < 0 && r != nil && p.Page == page {
		return r.Cut
	}
	if c, p := s.cell(line, stage); c != nil && p.Page == page {
		return c.Cut
	}
	return nil
}

// keepPictures keeps of each page the part with the marks, where the policy says so and said so when it was read; it
// returns their digests by page.
func (v *visit) keepPictures(st *readState) (map[int]string, error) {
	out := make(map[int]string)
	if !st.policy.KeepPictures {
		return out, nil
	}
	for _, p := range st.sheet.inOrder() {
		if len(p.Strip) == 0 {
			continue
		}
		digest, err := v.d.site.KeepPicture(v, p.Strip)
		if err != nil {
			return nil, err
		}
		out[p.Page] = digest
	}
	return out, nil
}

// readbackBody is what the page's template shows.
type readbackBody struct {
	Sheet   *paperSheet
	Cuts    []shownCut // of what is asked about
	Foreign []string   // places where a label is stuck that is none of ours
	Form    bool       // of which set a blank form is, is asked
	Idle    bool
	AskCase bool
	AskDay  bool

	NameGoods bool
	AskStays  bool
	Sorts     []events.Sort
	Today     string // the last date that can be asked for
	Counts    []shownCount
	Waiting   []waitingSheet
	Next      string // the set whose sheet Enter takes up
	On        string
	Done      []string
}

// shownCut is a cut-out: its address, and what it is of.
type shownCut struct{ Address, Says string }

type shownCount struct {
	Stage   events.Stage
	At      string
	Counter string
	Witness string
	Lines   int
	Asked   int
	Others  string
	Without string
}

type waitingSheet struct {
	Code, Set, Title string
	Read, Of, Asked  int
	At               string
}

func (b *readback) body(v *visit) (any, error) {
	out := readbackBody{}
	all, err := v.waitingPapers()
	if err != nil {
		return nil, err
	}
	for _, s := range all {
		if s.Code == b.Code {
			continue
		}
		w := waitingSheet{Code: s.Code, Set: s.Set, Title: s.Title, Read: len(s.Pages), Of: s.Of, At: v.w.Time(s.ReadAt)}
		for _, p := range s.inOrder() {
			w.Asked += p.asked()
		}
		out.Waiting = append(out.Waiting, w)
	}
	if next := nextPaper(all, v.station); b.Code == "" && next != nil {
		out.Next = next.Set
	}
	out.Form, out.Idle = b.Code == "" && b.Form, b.idle()
	st, q, err := b.now(v)
	if err != nil || st == nil {
		return out, err
	}
	out.Sheet, out.On = st.sheet, st.on.Set
	for stage := range st.done {
		out.Done = append(out.Done, v.t("stage-"+string(stage)))
	}
	if q != nil {
		out.AskCase = q.kind == askCase || q.kind == askKnown
		out.AskDay = q.kind == askDay || q.kind == askMoment
		out.NameGoods = q.kind == askGoodsName
		out.AskStays = q.kind == askFewer
		out.Sorts = events.Sorts()
		out.Today = v.now.In(v.d.site.Zone()).Format(time.DateOnly)
		b.showCuts(v, st, q, &out)
		return out, nil
	}
	for _, c := range st.counts(b) {
		out.Counts = append(out.Counts, shownCount{Stage: c.stage, At: v.w.Time(c.at), Counter: c.counter, Witness: c.witness,
			Lines: len(c.counts), Asked: len(c.asked), Others: c.othersOf(v), Without: linesOf(c.without)})
		for _, o := range c.others {
			if o.line < 0 {
				b.showRow(v, st, o.line, &out)
			} else {
				b.showCell(v, st, o.line, c.stage, &out)
			}
		}
	}
	return out, nil
}

// showCuts finds the cut-outs of what is asked about: the places of the sheet, and those below the column of the stage.
func (b *readback) showCuts(v *visit, st *readState, q *paperQuestion, out *readbackBody) {
	if q.line < 0 {
		b.showRow(v, st, q.line, out)
		return
	}
	if q.kind == askCell || q.kind == askCame {
		b.showCell(v, st, q.line, q.stage, out)
		return
	}
	for _, place := range q.places() {
		f, on := st.sheet.field(place.field)
		if f.Foreign {
			out.Foreign = append(out.Foreign, v.t("readback-foreign", v.t("readback-field-"+place.says)))
		}
		if len(f.Cut) == 0 {
			continue
		}
		at := url.Values{"field": {place.field}, "of": {st.sheet.Pages[on].Picture[:16]}}
		out.Cuts = append(out.Cuts, shownCut{b.cutAddress(v, at), v.t("readback-cut-field", v.t("readback-field-"+place.says))})
	}
}

// showCell adds the cut-out of a line's cell, where there is one.
func (b *readback) showCell(v *visit, st *readState, line int64, stage events.Stage, out *readbackBody) {
	c, p := st.sheet.cell(line, stage)
	if c == nil || len(c.Cut) == 0 {
		return
	}
	at := url.Values{"page": {strconv.Itoa(p.Page)}, "line": {strconv.FormatInt(line, 10)}, "stage": {string(stage)},
		"of": {p.Picture[:16]}} // another picture is another address
	out.Cuts = append(out.Cuts, shownCut{b.cutAddress(v, at), v.t("readback-cut-cell", line, v.t("stage-"+string(stage)))})
}

// showRow adds the cut-out of a row for goods, once.
func (b *readback) showRow(v *visit, st *readState, line int64, out *readbackBody) {
	r, p := st.sheet.row(line)
	if r == nil || len(r.Cut) == 0 {
		return
	}
	at := url.Values{"page": {strconv.Itoa(p.Page)}, "line": {strconv.FormatInt(line, 10)}, "of": {p.Picture[:16]}}
	cut := shownCut{b.cutAddress(v, at), v.t("readback-cut-goods", lineName(line))}
	if !slices.Contains(out.Cuts, cut) {
		out.Cuts = append(out.Cuts, cut)
	}
}

func (b *readback) cutAddress(v *visit, at url.Values) string {
	at.Set("sheet", b.Code)
	return v.d.stationPath(v.station, "readback", "cut-out") + "?" + at.Encode()
}

// shownPlace is a place of the sheet, and the name by which it is shown.
type shownPlace struct{ field, says string }

// places are where the answer to a question may be written.
func (q *paperQuestion) places() (out []shownPlace) {
	if q.field != "" {
		out = append(out, shownPlace{q.field, q.field})
	}
	switch q.kind {
	case askCounter:
		out = append(out, shownPlace{marks.SignCounter + string(q.stage), paper.PlaceCounter})
		if q.with != "" {
			out = append(out, shownPlace{paper.PlaceWitness, paper.PlaceWitness}, shownPlace{marks.SignWitness +
				string(q.stage), paper.PlaceWitness})
		}
	case askWitness:
		out = append(out, shownPlace{marks.SignWitness + string(q.stage), paper.PlaceWitness})
	case askAt, askMoment:
		if q.stage != "" {
			out = append(out, shownPlace{marks.SignTime + string(q.stage), "time"})
		}
	}
	if q.time() {
		out = append(out, shownPlace{paper.PlaceDate, paper.PlaceDate})
	}
	return out
}
