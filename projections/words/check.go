package words

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
	tree "text/template/parse"
)

// Problem is what is wrong with one entry of a language.
type Problem struct {
	Lang, Key string
	What      Fault
	Detail    string
}

func (p Problem) String() string {
	s := fmt.Sprintf("%s: %s: %s", p.Lang, p.Key, p.What)
	if p.Detail != "" {
		s += ": " + p.Detail
	}
	return s
}

// Fault is a kind of problem.
type Fault string

// The kinds of problems.
const (
	Missing   Fault = "is missing"            // English has it
	Unknown   Fault = "is unknown to English" // so nothing can use it
	Values    Fault = "uses other values than English"
	Replaced  Fault = "uses other values than what it is written over"
	Syntax    Fault = "does not parse"
	Inclusion Fault = "includes what is not there" // or itself
	Forms     Fault = "lacks plural forms"
)

// Check lists what is wrong with the languages: entries that are missing or
// unknown, that use other values than the English text, that do not parse, that
// include entries that are not there or include themselves, and plurals without
// the forms that the language has. At run time an entry that is missing is said
// in English; whether a language must be complete is for the caller to say.
func (c *Catalogue) Check() []Problem {
	var out []Problem
	for _, tag := range c.tags {
		out = append(out, c.languages[tag].check()...)
	}
	return out
}

func (l *Language) check() []Problem {
	var out []Problem
	add := func(key string, what Fault, format string, args ...any) {
		out = append(out, Problem{l.tag, key, what, fmt.Sprintf(format, args...)})
	}
	for key, t := range l.own.texts() {
		if t.ready().err != nil {
			add(key, Syntax, "%v", t.err)
			continue
		}
		u := t.uses()
		for _, k := range u.includes {
			if found, _ := l.find(k); found == nil {
				add(key, Inclusion, "%q", k)
			} else if l.reaches(k, key, make(map[string]bool)) {
				add(key, Inclusion, "%q, which includes this one again", k)
			}
		}
		for _, forms := range u.plurals {
			if lacks := l.lacks(forms); len(lacks) > 0 {
				add(key, Forms, "%s", strings.Join(lacks, ", "))
			}
		}
		if t.under != nil {
			if mine, theirs := l.valuesOf(t, nil), l.valuesOf(t.first(), nil); !maps.Equal(mine, theirs) {
				add(key, Replaced, "%s", differences(mine, theirs))
			}
			continue
		}
		if l.english == nil {
			continue
		}
		in, _ := l.english.find(key)
		if in == nil {
			add(key, Unknown, "")
			continue
		}
		if in = in.first(); in.ready().err == nil { // a slip in words over the English ones is not this language's
			mine, theirs := l.values(key, nil), l.english.valuesOf(in, nil)
			if !maps.Equal(mine, theirs) {
				add(key, Values, "%s", differences(mine, theirs))
			}
		}
	}
	if l.english != nil {
		for key := range l.english.own.texts() {
			if !l.Has(key) {
				add(key, Missing, "")
			}
		}
	}
	slices.SortFunc(out, func(a, b Problem) int {
		return cmp.Or(cmp.Compare(a.Key, b.Key), cmp.Compare(a.What, b.What), cmp.Compare(a.Detail, b.Detail))
	})
	return out
}

// Values lists what the text of a key uses of its values: {0} and so on, or the
// names of fields, those of entries that it includes too.
func (l *Language) Values(key string) []string {
	return slices.Sorted(maps.Keys(l.values(key, nil)))
}

// Includes lists the keys of the entries that the text of a key includes, and
// the beginnings of those that it puts together with name.
func (l *Language) Includes(key string) []string {
	t, _ := l.find(key)
	if t == nil {
		return nil
	}
	u := t.uses()
	return append(u.includes, u.names...)
}

// reaches reports whether the entry from includes the entry to, itself or
// through others.
func (l *Language) reaches(from, to string, seen map[string]bool) bool {
	if from == to {
		return true
	}
	t, _ := l.find(from)
	if t == nil || seen[from] {
		return false
	}
	seen[from] = true
	for _, k := range t.uses().includes {
		if l.reaches(k, to, seen) {
			return true
		}
	}
	return false
}

// lacks lists the plural forms of the language that a call has no text for.
func (l *Language) lacks(forms []string) []string {
	var out []string
	need := map[string]bool{"other": true}
	for n := range int64(1000) {
		need[l.form(n)] = true
	}
	for _, form := range slices.Sorted(maps.Keys(need)) {
		if !slices.Contains(forms, form) {
			out = append(out, form)
		}
	}
	for _, form := range forms {
		if !slices.Contains(slices.Collect(maps.Values(formNames)), form) {
			out = append(out, fmt.Sprintf("%q is no form", form))
		}
	}
	return out
}

// values collects what an entry uses of its values: places by number, and the
// names of fields, those of entries that it includes too.
func (l *Language) values(key string, seen map[string]bool) map[string]bool {
	t, _ := l.find(key)
	if t == nil {
		return make(map[string]bool)
	}
	return l.valuesOf(t, seen)
}

func (l *Language) valuesOf(t *text, seen map[string]bool) map[string]bool {
	if seen == nil {
		seen = make(map[string]bool)
	}
	out := make(map[string]bool)
	if t.ready().err != nil || seen[t.key] {
		return out
	}
	seen[t.key] = true
	u := t.uses()
	maps.Copy(out, u.values)
	for _, k := range u.includes {
		for v := range l.values(k, seen) {
			if !strings.HasPrefix(v, "{") { // places are those of the text in which they stand
				out[v] = true
			}
		}
	}
	return out
}

func differences(mine, theirs map[string]bool) string {
	var out []string
	for _, v := range slices.Sorted(maps.Keys(theirs)) {
		if !mine[v] {
			out = append(out, "lacks "+v)
		}
	}
	for _, v := range slices.Sorted(maps.Keys(mine)) {
		if !theirs[v] {
			out = append(out, "has "+v)
		}
	}
	return strings.Join(out, ", ")
}

// uses is what a text refers to.
type uses struct {
	values   map[string]bool
	includes []string
	names    []string // beginnings of keys
	plurals  [][]string
}

func (t *text) uses() uses {
	u := uses{values: make(map[string]bool)}
	if t.ready().tree != nil {
		u.node(t.tree.Root)
	}
	return u
}

func (u *uses) node(n tree.Node) {
	switch n := n.(type) {
	case *tree.ListNode:
		if n != nil {
			for _, x := range n.Nodes {
				u.node(x)
			}
		}
	case *tree.ActionNode:
		u.node(n.Pipe)
	case *tree.IfNode:
		u.branch(&n.BranchNode)
	case *tree.RangeNode:
		u.branch(&n.BranchNode)
	case *tree.WithNode:
		u.branch(&n.BranchNode)
	case *tree.PipeNode:
		if n != nil {
			for _, c := range n.Cmds {
				u.node(c)
			}
		}
	case *tree.CommandNode:
		u.command(n)
	case *tree.FieldNode:
		u.fields(n.Ident)
	case *tree.VariableNode:
		u.fields(n.Ident[1:])
	case *tree.ChainNode:
		u.node(n.Node)
		u.fields(n.Field)
	}
}

func (u *uses) branch(n *tree.BranchNode) {
	u.node(n.Pipe)
	u.node(n.List)
	u.node(n.ElseList)
}

func (u *uses) fields(names []string) {
	for _, name := range names {
		u.values["."+name] = true
	}
}

func (u *uses) command(n *tree.CommandNode) {
	for _, a := range n.Args {
		u.node(a)
	}
	called, ok := n.Args[0].(*tree.IdentifierNode)
	if !ok {
		return
	}
	literal := func(i int) (string, bool) {
		if i >= len(n.Args) {
			return "", false
		}
		s, ok := n.Args[i].(*tree.StringNode)
		if !ok {
			return "", false
		}
		return s.Text, true
	}
	switch called.Ident {
	case "arg":
		if i, ok := n.Args[len(n.Args)-1].(*tree.NumberNode); ok {
			u.values["{"+strconv.FormatInt(i.Int64, 10)+"}"] = true
		}
	case "say", "each", "date":
		if key, ok := literal(1); ok {
			u.includes = append(u.includes, key)
		}
	case "name":
		if prefix, ok := literal(1); ok {
			u.names = append(u.names, prefix)
		}
	case "plural":
		var forms []string
		for i := 2; i < len(n.Args); i += 2 {
			if form, ok := literal(i); ok {
				forms = append(forms, form)
			}
		}
		u.plurals = append(u.plurals, forms)
	}
}
