package words

import (
	"errors"
	"strconv"
	"strings"
	"sync"
	"text/template"
	tree "text/template/parse"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// source is a text as it stands in a file: a string, or strings to be joined.
type source string

func (s *source) UnmarshalJSONFrom(d *jsontext.Decoder) error {
	if d.PeekKind() == '[' {
		var parts []string
		if err := json.UnmarshalDecode(d, &parts); err != nil {
			return err
		}
		*s = source(strings.Join(parts, ""))
		return nil
	}
	return json.UnmarshalDecode(d, (*string)(s))
}

// text is one entry. It is parsed when it is first said: a command that says
// three sentences does not parse a thousand.
type text struct {
	key, source string
	funcs       template.FuncMap // what it may call; for parsing, none is called
	parsed      sync.Once
	tree        *tree.Tree // nil: the source is said as it stands
	positional  bool       // takes values by number
	err         error      // the source does not parse
	under       *text      // what it was written over, said where this one fails; nil for none
}

// over returns the text as one that is written over another.
func (t *text) over(under *text) *text {
	return &text{key: t.key, source: t.source, funcs: t.funcs, under: under}
}

// first is the text under all that was written over it.
func (t *text) first() *text {
	for t.under != nil {
		t = t.under
	}
	return t
}

// ready returns the text parsed.
func (t *text) ready() *text {
	t.parsed.Do(t.parse)
	return t
}

func (t *text) parse() {
	if !strings.Contains(t.source, "{") {
		return
	}
	compiled, positional, err := expand(t.source)
	if err != nil {
		t.err = err
		return
	}
	if !strings.Contains(compiled, "{{") {
		return
	}
	t.positional = positional
	parsed, err := template.New(t.key).Funcs(t.funcs).Parse(compiled)
	switch {
	case err != nil:
		t.err = err
	case len(parsed.Templates()) > 1:
		t.err = errors.New("a text can't define templates: make them entries of their own and include them with say")
	default:
		t.tree = parsed.Tree
	}
}

// expand writes {0} out as a call: {{arg $ 0}} in running text, (arg $ 0) in an
// action, and a quoted "{0} lines" in an action as (cat (arg $ 0) " lines").
func expand(src string) (out string, positional bool, err error) {
	var b strings.Builder
	for src != "" {
		i := strings.IndexByte(src, '{')
		if i < 0 {
			break
		}
		b.WriteString(src[:i])
		src = src[i:]
		if n, rest, ok := place(src); ok {
			b.WriteString("{{arg $ " + n + "}}")
			positional, src = true, rest
			continue
		}
		if !strings.HasPrefix(src, "{{") {
			b.WriteByte('{')
			src = src[1:]
			continue
		}
		action, rest, found, err := expandAction(src)
		if err != nil {
			return "", false, err
		}
		b.WriteString(action)
		positional, src = positional || found, rest
	}
	b.WriteString(src)
	return b.String(), positional, nil
}

// expandAction takes one action, from {{ to }}, off the beginning of src.
func expandAction(src string) (action, rest string, positional bool, err error) {
	var b strings.Builder
	b.WriteString("{{")
	src = src[2:]
	if body := strings.TrimLeft(src, "- \t\n"); strings.HasPrefix(body, "/*") {
		end := strings.Index(src, "*/")
		if end < 0 {
			return "", "", false, errors.New("a comment is not closed")
		}
		b.WriteString(src[:end])
		src = src[end:]
	}
	for src != "" {
		if strings.HasPrefix(src, "}}") {
			b.WriteString("}}")
			return b.String(), src[2:], positional, nil
		}
		if n, after, ok := place(src); ok {
			b.WriteString("(arg $ " + n + ")")
			positional, src = true, after
			continue
		}
		if src[0] != '"' && src[0] != '`' {
			b.WriteByte(src[0])
			src = src[1:]
			continue
		}
		quoted, err := strconv.QuotedPrefix(src)
		if err != nil {
			return "", "", false, errors.New("a quoted text is not closed")
		}
		src = src[len(quoted):]
		inner, err := strconv.Unquote(quoted)
		if err != nil {
			return "", "", false, err
		}
		call, found := expandQuoted(inner)
		if !found {
			call = quoted
		}
		b.WriteString(call)
		positional = positional || found
	}
	return "", "", false, errors.New("an action is not closed with }}")
}

// expandQuoted makes a call of a quoted text with places in it.
func expandQuoted(s string) (call string, found bool) {
	var b, plain strings.Builder
	b.WriteString("(cat")
	flush := func() {
		if plain.Len() > 0 {
			b.WriteString(" " + strconv.Quote(plain.String()))
			plain.Reset()
		}
	}
	for s != "" {
		if n, rest, ok := place(s); ok {
			flush()
			b.WriteString(" (arg $ " + n + ")")
			found, s = true, rest
			continue
		}
		plain.WriteByte(s[0])
		s = s[1:]
	}
	flush()
	b.WriteString(")")
	return b.String(), found
}

// place takes {0} off the beginning of s.
func place(s string) (n, rest string, ok bool) {
	if !strings.HasPrefix(s, "{") {
		return "", "", false
	}
	digits, rest, ok := strings.Cut(s[1:], "}")
	if !ok || len(digits) > 2 || strings.Trim(digits, "0123456789") != "" {
		return "", "", false
	}
	i, err := strconv.Atoi(digits)
	return strconv.Itoa(i), rest, err == nil
}
