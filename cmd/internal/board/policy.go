package board

import (
	"fmt"
	"maps"
	"net/http"
	"net/url"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/go-json-experiment/json"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/shell"
	"listbound/cmd/internal/site"
	"listbound/events"
)

// The page of the policy: each line with its meaning and unit, and a form that adopts another one, which holds from its
// recording on. What would change is shown first.

type policyBody struct {
	Problem, Done string
	InForce       *site.PolicyInForce
	Then          bool // it is about an earlier moment, or a follower's: there is nothing to adopt
	Lines         []policyLine
	Reason, Badge string

	Asks    bool   // what would change is shown, and asked about
	Changes *table // then
	Form    []hidden
}

// hidden is a field of a form that is sent once more.
type hidden struct{ Name, Value string }

// policyLine is a member of a policy as the form has it.
type policyLine struct {
	events.PolicyMember
	Label, Unit string
	Hint        string
	Value       string // of a number, of what is chosen, and of a list a line each
	Chosen      []choiceOf
}

// choiceOf is a word that a member may have.
type choiceOf struct {
	Word, Label string
	On          bool
}

func (p *pages) policyPage(r *http.Request, words *shell.Words) (*answer, error) {
	return p.policyForm(r, words, &policyBody{Then: !asOf(r).IsZero() || p.site.Position() != nil}, nil)
}

// policyForm shows a policy in the form: the one in force where none is given.
func (p *pages) policyForm(r *http.Request, words *shell.Words, b *policyBody, policy *events.Policy) (*answer, error) {
	var err error
	if b.InForce, err = p.site.PolicyAt(r.Context(), asOf(r)); err != nil {
		return nil, err
	}
	if policy == nil {
		policy = &b.InForce.Policy
	}
	values, err := valuesOf(policy)
	if err != nil {
		return nil, err
	}
	for _, m := range events.PolicyMembers() {
		l := policyLine{PolicyMember: m, Label: words.T("board.policy-" + m.Name), Value: strings.Join(values[m.Name], "\n")}
		if m.Unit != "" {
			l.Unit = words.T("board.policy-in-" + m.Unit)
		}
		if m.Form == events.PolicyCodes {
			l.Hint = words.T("board.policy-codes-how", strings.Join(m.Words, ", "))
		} else {
			for _, w := range m.Words {
				l.Chosen = append(l.Chosen, choiceOf{w, policyWord(words, m.Name, w), slices.Contains(values[m.Name], w)})
			}
		}
		b.Lines = append(b.Lines, l)
	}
	return &answer{template: "policy", title: words.T("board.policy"), body: b}, nil
}

// policyWord says a word of a policy as people do.
func policyWord(words *shell.Words, member, word string) string {
	switch member {
	case "links":
		return words.Kind(events.Kind(word))
	case "stages":
		return words.T("workplace.stage-" + word)
	case "wayBack":
		return words.T("workplace.step-" + word)
	case "mayStayUnread", "placements":
		return words.T("board.placement-" + word)
	}
	return words.T("board.policy-word-" + word)
}

// valuesOf takes a policy apart into what the fields of the form hold.
func valuesOf(p *events.Policy) (map[string][]string, error) {
	raw, err := json.Marshal(p)
	if err != nil {
		return nil, err
	}
	var all map[string]any
	if err := json.Unmarshal(raw, &all); err != nil {
		return nil, err
	}
	if waits, ok := all["waits"].(map[string]any); ok {
		for name, v := range waits {
			all["waits."+name] = v
		}
	}
	out := make(map[string][]string)
	for _, m := range events.PolicyMembers() {
		switch v := all[m.Name].(type) {
		case []any:
			for _, x := range v {
				if code, ok := x.(map[string]any); ok {
					x = fmt.Sprintf("%v %v", code["kind"], code["like"])
				}
				out[m.Name] = append(out[m.Name], fmt.Sprint(x))
			}
		case float64:
			out[m.Name] = []string{strconv.FormatInt(int64(v), 10)}
		case nil:
			if m.Form == events.PolicyNumber {
				out[m.Name] = []string{"0"}
			}
		default:
			out[m.Name] = []string{fmt.Sprint(v)}
		}
	}
	return out, nil
}

// policyOf puts a policy together of what the form holds.
func policyOf(words *shell.Words, form url.Values) (*events.Policy, error) {
	all, waits := make(map[string]any), make(map[string]any)
	for _, m := range events.PolicyMembers() {
		var v any
		text := strings.TrimSpace(form.Get(m.Name))
		switch m.Form {
		case events.PolicyNumber:
			n, err := strconv.ParseInt(text, 10, 64)
			if err != nil {
				name := words.T("board.policy-" + m.Name)
				return nil, refuse(http.StatusUnprocessableEntity, "%s", words.T("board.policy-number", name, text))
			}
			v = n
		case events.PolicyYesNo:
			v = text != ""
		case events.PolicyOneOf:
			v = text
		case events.PolicySomeOf:
			v = append([]string{}, form[m.Name]...)
		case events.PolicyList:
			v = linesOf(text)
		case events.PolicyCodes:
			codes := []events.CodePattern{}
			for _, line := range linesOf(text) {
				kind, like, _ := strings.Cut(line, " ")
				codes = append(codes, events.CodePattern{Kind: events.ScanKind(kind), Like: strings.TrimSpace(like)})
			}
			v = codes
		}
		if name, ok := strings.CutPrefix(m.Name, "waits."); ok {
			waits[name] = v
		} else {
			all[m.Name] = v
		}
	}
	all["waits"] = waits
	raw, err := json.Marshal(all)
	if err != nil {
		return nil, err
	}
	p := new(events.Policy)
	if err := json.Unmarshal(raw, p); err != nil {
		return nil, err
	}
	return p, refusal.Because(p.Check())
}

func linesOf(text string) []string {
	out := []string{}
	for line := range strings.Lines(text) {
		if line = strings.TrimSpace(line); line != "" {
			out = append(out, line)
		}
	}
	return out
}

// adoptPolicy shows what would change and asks once; then it records it.
func (p *pages) adoptPolicy(w http.ResponseWriter, r *http.Request) {
	words := p.sh.Words(r)
	const most = 1 << 18
	r.Body = http.MaxBytesReader(w, r.Body, most)
	b := new(policyBody)
	b.Badge, b.Reason = whoAndWhy(r)
	policy, err := policyOf(words, r.PostForm)
	if err == nil {
		err = p.adopt(r, words, b, policy)
	}
	p.again(w, r, words, err, &b.Problem, func() (*answer, error) { return p.policyForm(r, words, b, policy) })
}

func (p *pages) adopt(r *http.Request, words *shell.Words, b *policyBody, policy *events.Policy) error {
	switch {
	case b.Badge == "":
		return refuse(http.StatusUnprocessableEntity, "%s", words.T("board.badge-needed"))
	case b.Reason == "":
		return refuse(http.StatusUnprocessableEntity, "%s", words.T("board.reason-needed"))
	}
	now, err := p.site.Policy(r.Context())
	if err != nil {
		return err
	}
	changes, err := policyChanges(words, &now.Policy, policy)
	if err != nil {
		return err
	}
	since := strconv.FormatInt(now.Seq, 10)
	switch {
	case len(changes.Rows) == 0:
		return refuse(http.StatusUnprocessableEntity, "%s", words.T("board.policy-same"))
	case r.PostFormValue("since") == "":
		b.Asks, b.Changes = true, changes
		for _, name := range slices.Sorted(maps.Keys(r.PostForm)) {
			for _, v := range r.PostForm[name] {
				b.Form = append(b.Form, hidden{name, v})
			}
		}
		b.Form = append(b.Form, hidden{"since", since})
		return nil
	case r.PostFormValue("since") != since:
		return refuse(http.StatusConflict, "%s", words.T("board.policy-meanwhile"))
	}
	rs, err := p.site.Observe(r.Context(), &events.Observation{
		Station: p.site.Name(), Kind: events.KindPolicyAdopted, Time: p.site.Clock().UTC().Truncate(time.Millisecond), Operator: b.Badge,
		Data: &events.PolicyAdopted{Policy: *policy, Reason: b.Reason},
	})
	if err == nil {
		b.Done = words.T("board.policy-adopted", rs[0].Seq)
		b.Reason = ""
	}
	return err
}

// policyChanges are the lines in which two policies differ.
func policyChanges(words *shell.Words, from, to *events.Policy) (*table, error) {
	complete := to.Complete()
	was, err := valuesOf(from)
	if err != nil {
		return nil, err
	}
	is, err := valuesOf(&complete)
	if err != nil {
		return nil, err
	}
	t := newTable(words, "changes", "board.policy-changes", "policy-line", "policy-was", "policy-is")
	for _, m := range events.PolicyMembers() {
		if slices.Equal(was[m.Name], is[m.Name]) {
			continue
		}
		say := func(values []string) cell {
			var out []string
			for _, v := range values {
				if slices.Contains(m.Words, v) {
					v = policyWord(words, m.Name, v)
				}
				out = append(out, v)
			}
			return text(strings.Join(out, ", "))
		}
		t.add(text(words.T("board.policy-"+m.Name)), say(was[m.Name]), say(is[m.Name]))
	}
	return t, nil
}
