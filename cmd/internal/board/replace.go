package board

import (
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/events"
)

// The form that says an event's data anew. It shows what holds, and what is not in it stays as it was.

// memberAsked is a member of an event's data as the form asks for it.
type memberAsked struct {
	events.Member
	Label   string
	ID      string // of the field; a cell's has its row in it
	Value   string // of a list a line each
	On      bool   // yes
	Choices []choiceOf
	Heads   []string        // of rows
	Rows    [][]memberAsked // the last ones empty
}

const emptyRows = 2

// membersOf asks for the members of a kind, filled with what holds.
func membersOf(words *shell.Words, members []events.Member, data map[string]any, prefix string) (out []memberAsked) {
	for _, m := range members {
		a := memberAsked{Member: m, ID: prefix + m.Name, Label: words.T("board.member-" + strings.ReplaceAll(m.Name, ".", "-"))}
		v := lookUp(data, m.Name)
		switch m.Form {
		case events.MemberYesNo:
			a.On = v == true
		case events.MemberRows:
			for _, c := range m.Columns {
				a.Heads = append(a.Heads, words.T("board.member-"+c.Name))
			}
			rows, _ := v.([]any)
			for i := range len(rows) + emptyRows {
				row := map[string]any{}
				if i < len(rows) {
					row, _ = rows[i].(map[string]any)
				}
				a.Rows = append(a.Rows, membersOf(words, m.Columns, row, a.ID+"."+strconv.Itoa(i)+"."))
			}
		default:
			all := said(v)
			a.Value = strings.Join(all, "\n")
			for _, w := range m.Words {
				a.Choices = append(a.Choices, choiceOf{w, words.T("board.word-" + w), slices.Contains(all, w)})
			}
		}
		out = append(out, a)
	}
	return out
}

// lookUp finds a member, of which one may lie in another.
func lookUp(data map[string]any, name string) any {
	outer, inner, nested := strings.Cut(name, ".")
	if !nested {
		return data[name]
	}
	m, _ := data[outer].(map[string]any)
	return m[inner]
}

// put sets a member, or takes it out where there is nothing to say.
func put(data map[string]any, name string, v any) {
	outer, inner, nested := strings.Cut(name, ".")
	if nested {
		m, _ := data[outer].(map[string]any)
		m = maps.Clone(m)
		if m == nil {
			m = make(map[string]any)
		}
		put(m, inner, v)
		data[outer] = m
		return
	}
	if v == nil {
		delete(data, name)
		return
	}
	data[name] = v
}

// said is what a field shows of a value.
func said(v any) (out []string) {
	switch v := v.(type) {
	case string:
		return []string{v}
	case float64:
		return []string{strconv.FormatInt(int64(v), 10)}
	case []any:
		for _, x := range v {
			out = append(out, said(x)...)
		}
	}
	return out
}

// fill puts what a form says into data.
func fill(words *shell.Words, members []events.Member, form url.Values, data map[string]any, prefix string) error {
	for _, m := range members {
		id := prefix + m.Name
		text := strings.TrimSpace(form.Get(id))
		var v any
		switch m.Form {
		case events.MemberYesNo:
			if text != "" {
				v = true
			}
		case events.MemberNumber:
			if text == "" {
				break
			}
			n, err := strconv.ParseInt(text, 10, 64)
			if err != nil {
				label := words.T("board.member-" + strings.ReplaceAll(m.Name, ".", "-"))
				return refuse(http.StatusUnprocessableEntity, "%s", words.T("board.policy-number", label, text))
			}
			v = n
		case events.MemberText, events.MemberOneOf:
			if text != "" {
				v = text
			}
		case events.MemberSomeOf:
			if all := form[id]; len(all) > 0 {
				v = all
			}
		case events.MemberList:
			if all := linesOf(text); len(all) > 0 {
				v = all
			}
		case events.MemberRows:
			rows, err := rowsIn(words, m, form, id)
			if err != nil {
				return err
			}
			if len(rows) > 0 {
				v = rows
			}
		}
		put(data, m.Name, v)
	}
	if sheet, ok := data["sheet"].(map[string]any); ok && prefix == "" && sheet["found"] == nil {
		delete(data, "sheet") // nobody looked for one
	}
	return nil
}

// rowsIn reads rows, of which those without a word are none.
func rowsIn(words *shell.Words, m events.Member, form url.Values, id string) (out []map[string]any, err error) {
	for i := range events.MaxLines {
		prefix := id + "." + strconv.Itoa(i) + "."
		if !slices.ContainsFunc(m.Columns, func(c events.Member) bool { return form.Has(prefix + c.Name) }) {
			break
		}
		row := make(map[string]any)
		if err := fill(words, m.Columns, form, row, prefix); err != nil {
			return nil, err
		}
		if len(row) > 0 {
			out = append(out, row)
		}
	}
	return out, nil
}

// dataOf is the data that holds of an event as JSON has it. Where a text of it was taken out, nothing is said anew: what would
// be recorded is the mark in its place.
func dataOf(words *shell.Words, d events.Data) (map[string]any, error) {
	raw, err := json.Marshal(d)
	if err != nil {
		return nil, err
	}
	var out map[string]any
	if err := json.Unmarshal(raw, &out); err != nil {
		return nil, err
	}
	if hasMark(out) {
		return nil, refuse(http.StatusConflict, "%s", words.T("board.replace-taken-out"))
	}
	return out, nil
}

func hasMark(v any) bool {
	switch v := v.(type) {
	case string:
		return events.IsMark(v)
	case []any:
		return slices.ContainsFunc(v, hasMark)
	case map[string]any:
		return slices.ContainsFunc(slices.Collect(maps.Values(v)), hasMark)
	}
	return false
}

// anewPrefix is what the form to say an event anew calls its own fields by, since the event may have a reason, too; "" of another form.
func anewPrefix(r *http.Request) string {
	if r.PostFormValue("anew") == "" {
		return ""
	}
	return "anew-"
}

// replace puts other data in the place of an event's, by a correction of the station by.
func (p *pages) replace(r *http.Request, words *shell.Words, b *correctBody, by string) error {
	if b.Event.Void || len(b.Members) == 0 {
		return refuse(http.StatusConflict, "%s", words.T("board.replace-not"))
	}
	if err := b.whoAndWhyGiven(words, words.T("board.replace-reason")); err != nil {
		return err
	}
	if r.PostFormValue("since") != b.Since {
		return refuse(http.StatusConflict, "%s", words.T("board.replace-meanwhile"))
	}
	kind := events.Kind(b.Event.Kind)
	data, err := dataOf(words, b.Event.Data)
	if err != nil {
		return err
	}
	before, err := json.Marshal(data, json.Deterministic(true))
	if err != nil {
		return err
	}
	if err := fill(words, events.Replaceable(kind), r.PostForm, data, ""); err != nil {
		return err
	}
	raw, err := json.Marshal(data, json.Deterministic(true))
	if err != nil {
		return err
	}
	b.Members = membersOf(words, events.Replaceable(kind), roundTrip(raw), "")
	if _, err := events.ParseObservedData(kind, raw); err != nil {
		return refusal.Because(err)
	}
	if string(before) == string(raw) {
		return refuse(http.StatusUnprocessableEntity, "%s", words.T("board.replace-same"))
	}
	rs, err := p.site.Observe(r.Context(), &events.Observation{
		Station: by, Kind: events.KindEventCorrected, Time: b.at(p), Operator: b.Badge,
		Data: &events.EventCorrected{Event: b.Event.ID, Action: "replace", Reason: b.Reason, Data: raw},
	})
	if err == nil {
		b.Done = words.T("board.replace-done", rs[0].Seq)
	}
	return err
}

// roundTrip reads data again as JSON has it, so that a form shows what was entered.
func roundTrip(raw []byte) map[string]any {
	var out map[string]any
	if err := json.Unmarshal(raw, &out); err != nil {
		return nil
	}
	return out
}
