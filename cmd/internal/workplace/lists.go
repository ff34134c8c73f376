package workplace

import (
	"context"
	"crypto/sha256"
	"encoding/base64"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"unicode"

	"listbound/cmd/internal/paper"
	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/tablefile"
	"listbound/events"
)

func (d *Desk) registerLists(mux shell.Mux) {
	p := d.opts.Prefix + "/lists"
	mux.HandleFunc("GET "+p, d.page(d.listsPage))
	mux.HandleFunc("GET "+p+"/{list}", d.page(d.listPage))
	mux.HandleFunc("GET "+p+"/{list}/table.csv", d.listTable)
	mux.HandleFunc("GET "+p+"/empty.xlsx", d.emptyTable)
	mux.HandleFunc("POST "+p, d.page(d.issue))
	mux.HandleFunc("GET "+d.opts.Prefix+"/photographs/{digest}", d.photograph)
}

// newest keeps the newest version of each list.
func newest(all []site.ListVersion) []site.ListVersion {
	var out []site.ListVersion
	for i, l := range all {
		if i+1 == len(all) || all[i+1].List != l.List {
			out = append(out, l)
		}
	}
	return out
}

type listForm struct {
	List, Title, Cycles, Badge, Table, Station string

	Implants                  bool   // sets of the list hold implants
	HighRisk                  bool   // and are used on tissues of high risk
	Shown                     string // digest of the table that the form came with
	Headings, Missing, Sheets []string
	Sheet, Raw                string
	Stations                  []string
	Wrong                     []RowError
	Preview                   *listPreview
	Meanwhile                 bool // somebody else issued a version since the one that was shown
	Like                      string
	Marks                     string        // the list whose title, cycles and marks the form came with
	Rows                      []events.Line // to which photographs can be given
	photographs               bool          // the table has a column for them
}

// listPreview is what would be issued, before it is.
type listPreview struct {
	Version int64 // the page sends it back, so that nothing is issued after a version that was not shown
	Lines   int
	Changes []events.LineChange
	Marks   []markChange
	First   bool
}

// markChange is what a version says otherwise of the list as a whole; Old is "" where nothing was said.
type markChange struct{ What, Old, New string }

// markChanges are what two versions say differently of the list as a whole.
func (v *visit) markChanges(old, now *events.ListIssued) []markChange {
	yes := map[bool]string{true: v.t("register-held-yes"), false: v.t("register-held-no")}
	var out []markChange
	for _, c := range []markChange{
		{v.t("list-title"), old.Title, now.Title},
		{v.t("list-cycles"), strings.Join(old.Cycles, ", "), strings.Join(now.Cycles, ", ")},
		{v.t("list-implants"), yes[old.Implants], yes[now.Implants]},
		{v.t("list-high-risk"), yes[old.HighRisk], yes[now.HighRisk]},
	} {
		if c.Old != c.New {
			out = append(out, c)
		}
	}
	return out
}

type listsBody struct {
	Lists []site.ListVersion
	Form  listForm
	Done  string
}

func (d *Desk) listsPage(v *visit) (*rendered, error) {
	all, err := d.site.Lists(v, "")
	if err != nil {
		return nil, err
	}
	f, err := v.listForm()
	if err != nil {
		return nil, err
	}
	body := listsBody{Lists: newest(all), Form: f, Done: v.r.FormValue("done")}
	return &rendered{name: "lists", title: v.t("lists"), data: body}, nil
}

// listForm offers the stations that can issue.
func (v *visit) listForm() (listForm, error) {
	var f listForm
	all, err := v.d.site.Stations(v)
	for _, s := range all {
		if s.Enrolled > 0 && s.Retired == 0 && s.Here && s.Name != v.d.site.Name() {
			f.Stations = append(f.Stations, s.Name)
		}
	}
	if c, err := v.r.Cookie(issuesAt); err == nil {
		// Another name than those that can issue chooses none.
		f.Station, _ = url.QueryUnescape(c.Value)
	}
	return f, err
}

type listBody struct {
	site.ListVersion
	Versions []versionDiff
	Shelf    []site.Shelf
	Form     listForm
	Done     string
}

// versionDiff is a version with what it changed.
type versionDiff struct {
	site.ListVersion
	Changes []events.LineChange
	Marks   []markChange
	First   bool
}

func (d *Desk) listPage(v *visit) (*rendered, error) {
	vs, err := d.site.Lists(v, v.r.PathValue("list"))
	if err != nil {
		return nil, err
	}
	out := listBody{ListVersion: vs[len(vs)-1], Done: v.r.FormValue("done")}
	for i, x := range vs {
		diff := versionDiff{ListVersion: x, First: i == 0}
		if i > 0 {
			diff.Changes = events.DiffLines(vs[i-1].LineRows, x.LineRows)
			diff.Marks = v.markChanges(vs[i-1].Issue(), x.Issue())
		}
		out.Versions = append(out.Versions, diff)
	}
	slices.Reverse(out.Versions)
	err = d.site.Ask(func(m *site.View) error {
		out.Shelf, err = m.OnShelf(v, out.List, out.Version)
		return err
	})
	if err != nil {
		return nil, err
	}
	if out.Form, err = v.listForm(); err != nil {
		return nil, err
	}
	out.Form.List, out.Form.Title, out.Form.Cycles = out.List, out.Title, strings.Join(out.Cycles, " ")
	out.Form.Marks = out.List
	out.Form.Implants, out.Form.HighRisk = out.Implants, out.HighRisk
	out.Form.Table, out.Form.Rows = csvOf(out.LineRows), out.LineRows
	out.Form.Shown = digestOf(out.Form.Table)
	return &rendered{name: "list", title: out.List + " – " + out.Title, data: out}, nil
}

// csvOf writes lines as CSV, as ReadTable reads them. Columns that help to tell an
// instrument are there where a line has something in them. What a spreadsheet would
// compute has a quote before it.
func csvOf(lines []events.Line) string {
	rows := [][]string{append([]string{"line"}, append(mustHave, helping...)...)}
	used := make([]bool, len(rows[0]))
	for i := range len(mustHave) + 1 {
		used[i] = true
	}
	for _, l := range lines {
		row := []string{strconv.FormatInt(l.Line, 10), l.Item, l.Description, strconv.FormatInt(l.Quantity, 10),
			l.Mark, l.Names, l.Substitutes, "", l.TrayPlace, l.Photograph, string(l.Sort)}
		if l.Parts > 0 {
			row[len(row)-4] = strconv.FormatInt(l.Parts, 10)
		}
		for i, cell := range row {
			used[i] = used[i] || cell != ""
		}
		rows = append(rows, row)
	}
	var b strings.Builder
	for n, row := range rows {
		var cells []string
		for i, cell := range row {
			if cell = guardedCell(cell); i == 1 && rewritten(cell) {
				cell = "'" + cell
			}
			switch {
			case !used[i]:
			case n > 0 && i == 2: // descriptions mostly need it, and look alike so
				cells = append(cells, `"`+strings.ReplaceAll(cell, `"`, `""`)+`"`)
			default:
				cells = append(cells, quoteIf(cell))
			}
		}
		b.WriteString(strings.Join(cells, ",") + "\n")
	}
	return b.String()
}

func quoteIf(s string) string {
	if strings.ContainsAny(s, "\",;\t") {
		return `"` + strings.ReplaceAll(s, `"`, `""`) + `"`
	}
	return s
}

// listNow returns one version of a list, the newest where version is 0.
func listNow(ctx context.Context, s *site.Site, list string, version int64) (*site.ListVersion, error) {
	return site.Answer(s, func(m *site.View) (*site.ListVersion, error) { return m.List(ctx, list, version) })
}

func (d *Desk) listTable(w http.ResponseWriter, r *http.Request) {
	l, err := listNow(r.Context(), d.site, r.PathValue("list"), 0)
	if err != nil {
		d.sh.FailText(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "text/csv; charset=utf-8")
	name := map[string]string{"filename": l.List + ".csv"}
	w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", name))
	io.WriteString(w, tablefile.ByteOrderMark+csvOf(l.LineRows)) // a client that has gone away needs no answer
}

// emptyTable is a table to fill in: the headings in the page's language.
func (d *Desk) emptyTable(w http.ResponseWriter, r *http.Request) {
	raw, err := emptyTable(How{In: d.sh.Words(r).Language()})
	if err != nil {
		d.sh.FailText(w, r, err)
		return
	}
	w.Header().Set("Content-Type", "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet")
	w.Header().Set("Content-Disposition", `attachment; filename="list.xlsx"`)
	w.Write(raw) // a client that has gone away needs no answer
}

// NextVersion checks what is to be issued against what is there, and returns
// the observation's data. A list that changes nothing is refused. The version of
// next is not looked at, and its title is that of before where it has none. A list whose lines have a sort is one of goods.
func NextVersion(before []site.ListVersion, next events.ListIssued) (*events.ListIssued, error) {
	d := &next
	d.Version = 1
	d.Goods = slices.ContainsFunc(d.Lines, func(l events.Line) bool { return l.Sort != "" })
	if n := len(before); n > 0 {
		last := before[n-1]
		d.Version = last.Version + 1
		if d.Title == "" {
			d.Title = last.Title
		}
		if last.Goods != d.Goods { // sets that are packed by it could be packed no more, or its goods be counted no more
			return nil, refusal.Keyed("list-kind", "list %s is a list of goods in one version and of a set in the other: give this table "+
				"a list of its own", d.List)
		}
		same := last.Issue()
		same.Version = d.Version
		a, err := same.Digest()
		if err != nil {
			return nil, err
		}
		b, err := d.Digest()
		if err != nil {
			return nil, err
		}
		if a == b {
			return nil, refusal.Keyed("list-same",
				"list %s version %d says this already, word for word; nothing is issued", d.List, last.Version)
		}
	}
	if missing := paper.Missing(d.Title); len(missing) > 0 {
		no := refusal.New("title: %q (U+%04X) can't be printed on a sheet: write it otherwise", missing[0], missing[0])
		return nil, refusal.Say(no, "list-title", string(missing[0]))
	}
	return d, refusal.Because(d.Check())
}

// issue shows what a table would change, and on the second press issues it.
func (d *Desk) issue(v *visit) (*rendered, error) {
	f, lines, err := v.readIssue()
	if err != nil {
		return nil, err
	}
	v.station = f.Station
	out := &rendered{name: "issue", title: v.t("list-check")}
	var before []site.ListVersion
	if f.List == "" {
		f.wrong(v.t("list-name"))
	} else if before, err = d.site.Lists(v, f.List); err != nil && !errors.Is(err, site.ErrNotFound) {
		return nil, err
	}
	if len(f.Wrong) > 0 {
		out.data = f
		return out, nil
	}
	if err := v.takePhotographs(&f, before, lines); err != nil {
		return nil, err
	}
	f.Table, f.Rows = csvOf(lines), lines
	if f.Shown = digestOf(f.Table); len(f.Wrong) > 0 {
		out.data = f
		return out, nil
	}
	data, err := v.nextVersion(&f, before, lines)
	switch {
	case refusal.Is(err):
		f.wrong(v.detail(err))
		out.data = f
		return out, nil
	case err != nil:
		return nil, err
	}
	f.Title = data.Title
	f.Preview = &listPreview{Version: data.Version, Lines: len(data.Lines), First: len(before) == 0}
	if len(before) > 0 {
		last := &before[len(before)-1]
		f.Preview.Changes, f.Preview.Marks = events.DiffLines(last.LineRows, data.Lines), v.markChanges(last.Issue(), data)
	} else if f.Like, err = v.listLike(f.List); err != nil {
		return nil, err
	}
	shown := v.r.PostFormValue("issue")
	f.Meanwhile = shown != "" && shown != fmt.Sprint(data.Version)
	if shown == "" || f.Meanwhile || f.Like != v.r.PostFormValue("like") {
		out.data = f
		return out, nil
	}
	err = d.recordList(v, &f, data)
	if !refusal.Is(err) {
		return nil, err
	}
	f.wrong(v.detail(err))
	f.Preview = nil
	out.data = f
	return out, nil
}

// recordList issues a version; what it returns then leads to the page of the list.
func (d *Desk) recordList(v *visit, f *listForm, data *events.ListIssued) error {
	_, err := d.site.Observe(v, &events.Observation{
		Station: f.Station, Kind: events.KindListIssued, Time: v.now.UTC(), Operator: f.Badge, Data: data,
	})
	if err != nil {
		return err
	}
	return &moved{
		to: d.opts.Prefix + "/lists/" + url.PathEscape(f.List) + "?done=" + fmt.Sprint(data.Version),
		keep: &http.Cookie{Name: issuesAt, Value: url.QueryEscape(f.Station), Path: d.opts.Prefix + "/lists", HttpOnly: true,
			SameSite: http.SameSiteStrictMode, MaxAge: 365 * 24 * 3600},
	}
}

// nextVersion is what the form would issue. A form that came without the list's own cycles and marks, as that for any
// list does, takes none of them away.
func (v *visit) nextVersion(f *listForm, before []site.ListVersion, lines []events.Line) (*events.ListIssued, error) {
	next := events.ListIssued{List: f.List, Title: f.Title, Implants: f.Implants, HighRisk: f.HighRisk, Lines: lines}
	next.Cycles = strings.FieldsFunc(f.Cycles, func(r rune) bool { return unicode.IsSpace(r) || r == ',' || r == ';' })
	policy, err := v.policy()
	if err != nil {
		return nil, err
	}
	for i, name := range next.Cycles {
		if next.Cycles[i], err = v.cycleIn(policy.Cycles, name); err != nil {
			return nil, err
		}
	}
	if len(before) > 0 && f.Marks != f.List {
		last := before[len(before)-1]
		next.Implants, next.HighRisk = next.Implants || last.Implants, next.HighRisk || last.HighRisk
		if len(next.Cycles) == 0 {
			next.Cycles = last.Cycles
		}
	}
	d, err := NextVersion(before, next)
	if err != nil {
		return nil, err
	}
	f.Marks, f.Cycles, f.Implants, f.HighRisk = d.List, strings.Join(d.Cycles, " "), d.Implants, d.HighRisk
	e := &events.Event{Station: f.Station, Time: v.now.UTC(), Operator: f.Badge, Data: d}
	err = v.d.site.Ask(func(m *site.View) error { return m.AdmitWriter(v, e) })
	return d, err
}

// listLike is the list that a new one's number is almost written as, "" for none.
func (v *visit) listLike(list string) (string, error) {
	all, err := v.d.site.Lists(v, "")
	for _, l := range all {
		if l.List != list && events.Likeness(l.List) == events.Likeness(list) {
			return l.List, nil
		}
	}
	return "", err
}

// cutShort refuses what can't be read as what it was sent as. How it can't is for
// nobody at a station; that it was too much is said by its own answer.
func cutShort(no, err error) error {
	if large, ok := errors.AsType[*http.MaxBytesError](err); ok {
		return large
	}
	return no
}

// readIssue reads the form of a list; what is wrong with it stands in the form.
func (v *visit) readIssue() (listForm, []events.Line, error) {
	v.r.Body = http.MaxBytesReader(nil, v.r.Body, maxTable)
	if err := v.r.ParseMultipartForm(maxTable); err != nil {
		return listForm{}, nil, cutShort(v.sayNo("form-unreadable"), err)
	}
	f, err := v.listForm()
	if err != nil {
		return f, nil, err
	}
	get := func(k string) string { return strings.TrimSpace(v.r.PostFormValue(k)) }
	f.List, f.Title, f.Cycles, f.Table = get("list"), get("title"), get("cycles"), v.r.PostFormValue("table")
	f.Implants, f.HighRisk = get("implants") != "", get("highrisk") != ""
	f.Badge, f.Station, f.Marks = get("badge"), get("station"), get("marks")
	raw := []byte(f.Table)
	if s := v.r.PostFormValue("raw"); s != "" {
		if raw, err = base64.StdEncoding.DecodeString(s); err != nil {
			return f, nil, cutShort(v.sayNo("form-unreadable"), err)
		}
	}
	if file, _, err := v.r.FormFile("file"); err == nil {
		if strings.TrimSpace(f.Table) != "" && v.r.PostFormValue("shown") != digestOf(f.Table) {
			f.wrong(v.t("list-both"))
		}
		raw, err = io.ReadAll(file)
		if err = errors.Join(err, file.Close()); err != nil {
			return f, nil, cutShort(v.sayNo("file-unreadable"), err)
		}
	}
	how, err := v.howToRead()
	if err != nil {
		return f, nil, err
	}
	t := ReadTable(raw, how)
	if len(f.Wrong) > 0 {
		t = Table{}
	}
	f.Wrong = append(f.Wrong, t.Wrong...)
	f.Headings, f.Missing, f.Sheets, f.Sheet, f.photographs = t.Headings, t.Missing, t.Sheets, t.Sheet, t.Photographs
	lines := t.Lines
	f.Shown = get("shown")
	if lines != nil {
		f.Shown = digestOf(csvOf(lines))
		f.Table = csvOf(lines) // from a file: so that the second press sends the same
		if err := v.keepHeadings(how.Headings); err != nil {
			return f, nil, err
		}
	} else if len(f.Missing) > 0 {
		f.Raw = base64.StdEncoding.EncodeToString(raw) // to be read again once its columns are matched
	}
	if !slices.Contains(f.Stations, f.Station) {
		f.wrong(v.t("list-station"))
	}
	if f.Badge == "" {
		f.wrong(v.t("list-badge"))
	}
	return f, lines, nil
}

// digestOf tells whether somebody has typed into the table that a form came with.
func digestOf(table string) string {
	sum := sha256.Sum256([]byte(strings.ReplaceAll(table, "\r\n", "\n")))
	return hex.EncodeToString(sum[:8])
}

// headingsFile keeps what the columns of this site's tables are called, as a person
// has matched them.
const headingsFile = "headings"

// howToRead is how this site's tables are read, with what the form matches.
func (v *visit) howToRead() (How, error) {
	how := How{
		Names: v.d.site.Words().Catalogue(), In: v.w.Language(),
		Headings: make(map[string]string), Sheet: v.r.PostFormValue("sheet"),
	}
	if _, err := v.d.files.load(&how.Headings, headingsFile); err != nil && !errors.Is(err, errUnreadable) {
		return how, err
	}
	for _, column := range columns {
		if name := heading(v.r.PostFormValue("match-" + column)); name != "" {
			for was, c := range how.Headings {
				if c == column && was == name {
					delete(how.Headings, was)
				}
			}
			how.Headings[name] = column
		}
	}
	return how, nil
}

// keepHeadings keeps what was matched for the next table.
func (v *visit) keepHeadings(headings map[string]string) error {
	if len(headings) == 0 {
		return nil
	}
	return v.d.files.save(headings, headingsFile)
}

func (f *listForm) wrong(what string) { f.Wrong = append(f.Wrong, RowError{0, what}) }

// moved sends the browser on after a form, so that loading again issues nothing.
type moved struct {
	to   string
	keep *http.Cookie // for the next time, nil for nothing
}

// issuesAt keeps the station at which a browser issued a list last. Nothing else
// tells which station the educator at it means.
const issuesAt = "issues-at"

func (m *moved) Error() string { return "see " + m.to }
