package workplace

import (
	"context"
	"encoding/base64"
	"errors"
	"fmt"
	"io"
	"mime"
	"net/http"
	"net/url"
	"slices"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/cmd/internal/tablefile"
	"listbound/events"
	"listbound/projections/facts"
)

func (d *Desk) registerRegisters(mux shell.Mux) {
	p := d.opts.Prefix + "/registers"
	mux.HandleFunc("GET "+p, d.page(d.registersPage))
	mux.HandleFunc("GET "+p+"/{register}", d.page(d.registerPage))
	mux.HandleFunc("GET "+p+"/{register}/table.csv", d.registerTable(false))
	mux.HandleFunc("GET "+p+"/{register}/table.xlsx", d.registerTable(true))
	mux.HandleFunc("POST "+p+"/{register}", d.page(d.enterRegister))
	mux.HandleFunc("POST "+p+"/{register}/hold", d.page(d.holdRegister))
	if d.opts.Prefix == "" {
		mux.HandleFunc("POST /api/registers/{register}", d.importRegister)
	}
}

// register is the one that a request is about.
func (v *visit) register() (events.Register, error) {
	r := events.Register(v.r.PathValue("register"))
	if !slices.Contains(events.Registers(), r) {
		return "", fmt.Errorf("%w: there is no register of %.40s", site.ErrNotFound, r)
	}
	return r, nil
}

// registerWord is what a register is called.
func (v *visit) registerWord(r events.Register) string { return v.t("register-" + string(r)) }

type registerLine struct {
	Register events.Register
	Word     string
	Entries  int
	Held     bool
}

func (d *Desk) registersPage(v *visit) (*rendered, error) {
	var out []registerLine
	err := d.site.Ask(func(m *site.View) error {
		held, err := m.HeldTo(v)
		if err != nil {
			return err
		}
		for _, r := range events.Registers() {
			rows, err := m.Register(v, r)
			if err != nil {
				return err
			}
			n := 0
			for _, row := range rows {
				if row.State != facts.EntryEnded {
					n++
				}
			}
			out = append(out, registerLine{r, v.registerWord(r), n, slices.Contains(held, r)})
		}
		return nil
	})
	return &rendered{name: "registers", title: v.t("registers"), data: out}, err
}

type registerBody struct {
	registerLine
	Heads []string
	Rows  []registerShown
	Form  registerForm
	Done  string
}

type registerShown struct {
	ID    string
	Cells []string
	State facts.EntryState
	Since string
}

// registerForm is the form of an import, with what a table that was read comes to.
type registerForm struct {
	Register                  events.Register
	Raw                       string // the table, base64
	Badge, Sheet              string
	Whole, Hold               bool
	Wrong                     []RowError
	Headings, Missing, Sheets []string
	Must                      string // the column without which nothing can be read, where it is missing
	Unknown                   []string
	Meanings                  []choice
	Change                    *RegisterChange
}

// how is how a register's table is read at this site.
func (v *visit) registerHow(r events.Register) (How, error) {
	how := How{
		Names: v.d.site.Words().Catalogue(), In: v.w.Language(), Sheet: v.r.FormValue("sheet"),
		Headings: make(map[string]string), Words: make(map[string]string),
		Zone: v.d.site.Zone(), Now: v.now, Columns: registerColumns[r],
	}
	for name, m := range map[string]*map[string]string{"headings-": &how.Headings, "words-": &how.Words} {
		if _, err := v.d.files.load(m, name+string(r)); err != nil && !errors.Is(err, errUnreadable) {
			return how, err
		}
	}
	return how, nil
}

// matched adds what the form says of columns and words, and keeps it for the next table.
func (v *visit) matched(r events.Register, how *How) error {
	n := len(how.Headings) + len(how.Words)
	for _, column := range how.Columns {
		if name := heading(v.r.PostFormValue("match-" + column)); name != "" {
			how.Headings[name] = column
		}
	}
	for name, values := range v.r.PostForm {
		if word, ok := strings.CutPrefix(name, "word-"); ok && values[0] != "" {
			how.Words[heading(word)] = values[0]
		}
	}
	if len(how.Headings)+len(how.Words) == n {
		return nil
	}
	return errors.Join(v.d.files.save(how.Headings, "headings-"+string(r)), v.d.files.save(how.Words, "words-"+string(r)))
}

func (d *Desk) registerPage(v *visit) (*rendered, error) {
	r, err := v.register()
	if err != nil {
		return nil, err
	}
	how, err := v.registerHow(r)
	if err != nil {
		return nil, err
	}
	body := registerBody{registerLine: registerLine{Register: r, Word: v.registerWord(r)}, Done: v.r.FormValue("done")}
	err = d.site.Ask(func(m *site.View) error {
		rows, err := m.Register(v, r)
		if err != nil {
			return err
		}
		held, err := m.HeldTo(v)
		if err != nil {
			return err
		}
		body.Held = slices.Contains(held, r)
		for _, c := range how.Columns[1:] {
			if c != "first-name" {
				body.Heads = append(body.Heads, how.column(c))
			}
		}
		for i := range rows {
			shown := registerShown{ID: rows[i].ID(), State: rows[i].State, Since: v.w.Time(rows[i].Since)}
			for _, c := range how.Columns[1:] {
				if c != "first-name" {
					shown.Cells = append(shown.Cells, v.momentCell(registerCell(how, &rows[i], c), c))
				}
			}
			body.Rows = append(body.Rows, shown)
			if shown.State != facts.EntryEnded {
				body.Entries++
			}
		}
		return nil
	})
	body.Form = registerForm{Register: r, Hold: !body.Held}
	return &rendered{name: "register", title: v.registerWord(r), wide: true, data: body}, err
}

// momentCell shows a moment of an entry as the page shows any other; a table that is exported has it as programs read it.
func (v *visit) momentCell(cell, column string) string {
	if at, err := time.Parse(time.RFC3339, cell); err == nil && (column == "from" || column == "until") {
		return v.w.Time(at)
	}
	return cell
}

func (d *Desk) registerTable(xlsx bool) http.HandlerFunc {
	return func(w http.ResponseWriter, r *http.Request) {
		v, err := d.visit(r)
		var raw []byte
		var of events.Register
		if err == nil {
			of, err = v.register()
		}
		if err == nil {
			raw, err = ExportRegister(r.Context(), d.site, of, xlsx, How{Names: d.site.Words().Catalogue(), In: v.w.Language()})
		}
		if err != nil {
			d.sh.FailText(w, r, err)
			return
		}
		kind, ending := "text/csv; charset=utf-8", ".csv"
		if xlsx {
			kind, ending = "application/vnd.openxmlformats-officedocument.spreadsheetml.sheet", ".xlsx"
		}
		w.Header().Set("Content-Type", kind)
		name := map[string]string{"filename": string(of) + ending}
		w.Header().Set("Content-Disposition", mime.FormatMediaType("attachment", name))
		if !xlsx {
			raw = append([]byte(tablefile.ByteOrderMark), raw...)
		}
		w.Write(raw) // a client that has gone away needs no answer
	}
}

// readRegisterForm reads the form of an import and the table that comes with it.
func (v *visit) readRegisterForm(r events.Register) (registerForm, RegisterTable, error) {
	f := registerForm{Register: r}
	v.r.Body = http.MaxBytesReader(nil, v.r.Body, maxTable)
	if err := v.r.ParseMultipartForm(maxTable); err != nil {
		return f, RegisterTable{}, cutShort(v.sayNo("form-unreadable"), err)
	}
	get := func(k string) string { return strings.TrimSpace(v.r.PostFormValue(k)) }
	f.Badge, f.Whole, f.Hold = get("badge"), get("whole") != "", get("hold") != ""
	raw, err := base64.StdEncoding.DecodeString(get("raw"))
	if err != nil {
		return f, RegisterTable{}, v.sayNo("form-unreadable")
	}
	if file, _, err := v.r.FormFile("file"); err == nil {
		raw, err = io.ReadAll(file)
		if err = errors.Join(err, file.Close()); err != nil {
			return f, RegisterTable{}, cutShort(v.sayNo("file-unreadable"), err)
		}
	}
	f.Raw = base64.StdEncoding.EncodeToString(raw)
	how, err := v.registerHow(r)
	if err == nil {
		err = v.matched(r, &how)
	}
	if err != nil {
		return f, RegisterTable{}, err
	}
	known, err := knownIn(v, v.d.site, r)
	if err != nil {
		return f, RegisterTable{}, err
	}
	t := ReadRegister(raw, r, known, how)
	f.Wrong, f.Headings, f.Missing, f.Sheets, f.Sheet, f.Unknown = t.Wrong, t.Headings, t.Missing, t.Sheets, t.Sheet, t.Unknown
	if len(f.Missing) > 0 && f.Missing[0] == how.Columns[0] {
		f.Must = f.Missing[0]
	}
	f.Meanings = v.meanings(r)
	return f, t, nil
}

// meanings are what a word of a table can mean.
func (v *visit) meanings(r events.Register) []choice {
	var out []choice
	if r == events.RegisterStations {
		for _, w := range events.Works() {
			out = append(out, choice{Value: string(w), Words: v.t("work-" + string(w))})
		}
	} else {
		role := func(roles ...events.Role) {
			var said []string
			for _, r := range roles {
				said = append(said, v.t("role-"+string(r)))
			}
			out = append(out, choice{Value: strings.Join(text(roles), ","), Words: strings.Join(said, ", ")})
		}
		role(events.RoleRecords)
		role(events.RoleRecords, events.RoleLeads)
		for _, r := range events.Roles()[1:] {
			role(r)
		}
	}
	return append(out, choice{Value: nobody, Words: v.t("register-nobody")})
}

// knownIn reports whether a code stands in a register as it is, or is a set that was packed here.
func knownIn(ctx context.Context, s *site.Site, r events.Register) (func(string) bool, error) {
	known := make(map[string]bool)
	err := s.Ask(func(m *site.View) error {
		rows, err := m.Register(ctx, r)
		if err != nil {
			return err
		}
		for _, row := range rows {
			known[row.ID()] = true
		}
		if r == events.RegisterSets {
			packed, err := m.PackedNames(ctx)
			if err != nil {
				return err
			}
			for _, set := range packed {
				known[set] = true
			}
		}
		return nil
	})
	return func(id string) bool { return known[id] }, err
}

// enterRegister shows what a table would change, and on the second press enters it.
func (d *Desk) enterRegister(v *visit) (*rendered, error) {
	r, err := v.register()
	if err != nil {
		return nil, err
	}
	f, t, err := v.readRegisterForm(r)
	if err != nil {
		return nil, err
	}
	out := &rendered{name: "register-check", title: v.t("register-check", v.registerWord(r))}
	if len(t.Entries) > 0 {
		if f.Change, err = ChangeOf(v, d.site, r, t, f.Whole); err != nil {
			return nil, err
		}
	}
	switch enter := v.r.PostFormValue("enter") != ""; {
	case f.Change == nil || !enter:
		out.data = f
		return out, nil
	case f.Badge == "":
		f.Wrong = append(f.Wrong, RowError{0, v.t("register-badge")})
	case len(f.Change.Alike) > 0 && v.r.PostFormValue("different") == "":
		f.Wrong = append(f.Wrong, RowError{0, v.t("register-alike-answer")})
	default:
		done, err := d.site.Enter(v, site.Entering{
			Register: r, Entries: f.Change.Enter, Names: f.Change.Names, Operator: f.Badge, Hold: f.Hold,
		})
		switch {
		case refusal.Is(err):
			f.Wrong = append(f.Wrong, RowError{0, v.detail(err)})
		case err != nil:
			return nil, err
		default:
			return nil, &moved{to: d.opts.Prefix + "/registers/" + string(r) + "?done=" + url.QueryEscape(fmt.Sprint(done.Records))}
		}
	}
	out.data = f
	return out, nil
}

// holdRegister says whether the site holds to a register from now on.
func (d *Desk) holdRegister(v *visit) (*rendered, error) {
	r, err := v.register()
	if err != nil {
		return nil, err
	}
	badge := strings.TrimSpace(v.r.PostFormValue("badge"))
	if badge == "" {
		return nil, v.sayNo("register-badge")
	}
	held, err := site.Answer(d.site, func(m *site.View) ([]events.Register, error) { return m.HeldTo(v) })
	if err != nil {
		return nil, err
	}
	held = slices.DeleteFunc(slices.Clone(held), func(x events.Register) bool { return x == r })
	if v.r.PostFormValue("hold") != "" {
		held = append(held, r)
	}
	if err := d.site.HoldTo(v, held, badge, strings.TrimSpace(v.r.PostFormValue("reason"))); err != nil {
		return nil, err
	}
	return nil, &moved{to: d.opts.Prefix + "/registers/" + string(r)}
}

// ImportAsked is what a program asks with a table.
type ImportAsked struct {
	Whole     bool              // what is not in the table ends
	Different bool              // codes that are alike are different ones
	Check     bool              // enter nothing
	Hold      bool              // hold to the register afterwards
	Operator  string            // badge
	Headings  map[string]string // column by heading, as matched
	Words     map[string]string // the program's words by the table's
}

// Imported is what became of a table.
type Imported struct {
	*RegisterChange
	Entered *site.Entered `json:"entered,omitempty"`
	Wrong   []string      `json:"wrong,omitempty"`
	Unknown []string      `json:"unknown,omitempty"` // words that nobody has said the meaning of
	Unread  []string      `json:"unread,omitempty"`  // headings that mean nothing here
}

// ImportRegister reads a register's table and enters it, where nothing about it is wrong or to be asked.
func ImportRegister(ctx context.Context, s *site.Site, r events.Register, raw []byte, asked ImportAsked) (*Imported, error) {
	columns, ok := registerColumns[r]
	if !ok {
		return nil, refusal.New("%q is no register; they are %s", r, strings.Join(text(events.Registers()), ", "))
	}
	known, err := knownIn(ctx, s, r)
	if err != nil {
		return nil, err
	}
	how := How{
		Names: s.Words().Catalogue(), In: s.Words().Catalogue().In("en"), Columns: columns, Zone: s.Zone(), Now: s.Clock(),
		Headings: make(map[string]string), Words: make(map[string]string),
	}
	for name, column := range asked.Headings {
		how.Headings[heading(name)] = column
	}
	for word, means := range asked.Words {
		how.Words[heading(word)] = means
	}
	t := ReadRegister(raw, r, known, how)
	out := &Imported{Unknown: t.Unknown, Unread: t.Headings}
	for _, w := range t.Wrong {
		out.Wrong = append(out.Wrong, w.Error())
	}
	if len(t.Entries) == 0 {
		return out, nil
	}
	if out.RegisterChange, err = ChangeOf(ctx, s, r, t, asked.Whole); err != nil {
		return nil, err
	}
	if asked.Check || len(out.Alike) > 0 && !asked.Different {
		return out, nil
	}
	done, err := s.Enter(ctx, site.Entering{
		Register: r, Entries: out.Enter, Names: out.Names, Operator: asked.Operator, Hold: asked.Hold,
	})
	out.Entered = &done
	return out, err
}

// askedOf reads what a program asks from the address.
func askedOf(q url.Values) ImportAsked {
	return ImportAsked{
		Whole: q.Get("whole") == "1", Different: q.Get("different") == "1", Check: q.Get("check") == "1", Hold: q.Get("hold") == "1",
		Operator: q.Get("operator"), Headings: pairs(q["column"]), Words: pairs(q["word"]),
	}
}

// Query writes what is asked as an address has it.
func (a ImportAsked) Query() url.Values {
	q := url.Values{"operator": {a.Operator}}
	for name, is := range map[string]bool{"whole": a.Whole, "different": a.Different, "check": a.Check, "hold": a.Hold} {
		if is {
			q.Set(name, "1")
		}
	}
	for k, v := range a.Headings {
		q.Add("column", k+"="+v)
	}
	for k, v := range a.Words {
		q.Add("word", k+"="+v)
	}
	return q
}

func pairs(of []string) map[string]string {
	out := make(map[string]string)
	for _, p := range of {
		name, value, _ := strings.Cut(p, "=")
		out[name] = value
	}
	return out
}

// importRegister takes a table from a program.
func (d *Desk) importRegister(w http.ResponseWriter, r *http.Request) {
	v, err := d.visit(r)
	var of events.Register
	if err == nil {
		of, err = v.register()
	}
	var raw []byte
	if err == nil {
		raw, err = io.ReadAll(http.MaxBytesReader(w, r.Body, maxTable))
	}
	var out *Imported
	if err == nil {
		out, err = ImportRegister(r.Context(), d.site, of, raw, askedOf(r.URL.Query()))
	}
	if err != nil {
		d.sh.FailJSON(w, r, err)
		return
	}
	d.sh.WriteJSON(w, r, http.StatusOK, out)
}

// ParseImported reads what a server answers.
func ParseImported(raw []byte) (*Imported, error) {
	out := &Imported{RegisterChange: new(RegisterChange)}
	if err := json.Unmarshal(raw, out); err != nil {
		return nil, fmt.Errorf("the answer can't be read: %w", err)
	}
	return out, nil
}
