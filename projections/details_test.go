package projections

import (
	"go/ast"
	"go/parser"
	"go/token"
	"reflect"
	"slices"
	"strconv"
	"testing"
	"time"

	"github.com/go-json-experiment/json"
)

// TestEveryWay: a finding of every way survives being written and read, with
// every field of its detail.
func TestEveryWay(t *testing.T) {
	ways := Ways()
	if len(ways) < 40 {
		t.Fatalf("%d ways", len(ways))
	}
	seen := make(map[Way]bool)
	for _, w := range ways {
		if seen[w] {
			t.Errorf("%v stands twice in the list", w)
		}
		seen[w] = true
		d := NewDetail(w)
		fill(t, reflect.ValueOf(d).Elem())
		want := Finding{Code: w.Code, Severity: SeverityBroken, Way: w.Name, Detail: d, Events: []int64{3}, Says: "s", Next: "n"}
		raw, err := json.Marshal(want)
		if err != nil {
			t.Fatalf("%v: %v", w, err)
		}
		var got Finding
		if err := json.Unmarshal(raw, &got); err != nil {
			t.Fatalf("%v: %v in %s", w, err, raw)
		}
		if !reflect.DeepEqual(got, want) {
			t.Errorf("%v was read as\n%+v\nwritten as\n%+v", w, got.Detail, want.Detail)
		}
	}
}

// TestEveryDetailHasARow: a code or a detail that is declared and has no row in
// the list of details could not be read back, worded or tested.
func TestEveryDetailHasARow(t *testing.T) {
	listed := make(map[string]bool)
	for _, w := range Ways() {
		listed[string(w.Code)] = true
		listed[reflect.TypeOf(NewDetail(w)).Elem().Name()] = true
	}
	parsed, err := parser.ParseFile(token.NewFileSet(), "details.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	for _, name := range append(codesIn(t, parsed), detailsIn(parsed)...) {
		if !listed[name] {
			t.Errorf("%s has no row in the list of details (details.go)", name)
		}
		delete(listed, name)
	}
	for name := range listed {
		t.Errorf("%s is in the list of details, and was not found in the source", name)
	}
}

// TestCodes: every code is listed once, in the order of its declaration, and
// findings of one weight have that order.
func TestCodes(t *testing.T) {
	parsed, err := parser.ParseFile(token.NewFileSet(), "details.go", nil, 0)
	if err != nil {
		t.Fatal(err)
	}
	var got []string
	for _, c := range Codes() {
		got = append(got, string(c))
	}
	if want := codesIn(t, parsed); !slices.Equal(got, want) {
		t.Errorf("listed are\n%q\ndeclared\n%q", got, want)
	}
}

// TestPlaces: people write one place in capitals and in small letters; a load
// is not a place of the same name.
func TestPlaces(t *testing.T) {
	for _, x := range []struct {
		a, b Place
		same bool
	}{
		{Place{Load: "S2-04"}, Place{Load: "s2-04"}, true},
		{Place{Name: "Storage A4"}, Place{Name: "storage a4"}, true},
		{Place{Load: "S2-04"}, Place{Load: "S2-05"}, false},
		{Place{Load: "S2-04", Name: "A"}, Place{Load: "S2-04", Name: "B"}, false},
		{Place{Load: "A4"}, Place{Name: "A4"}, false},
	} {
		if x.a.Same(x.b) != x.same || x.b.Same(x.a) != x.same {
			t.Errorf("%+v and %+v are the same: %v", x.a, x.b, !x.same)
		}
	}
	if a, b := (Place{Load: "S2-04"}).String(), (Place{Name: "OR 3"}).String(); a != "load S2-04" || b != "OR 3" {
		t.Errorf("places are called %q and %q", a, b)
	}
}

// TestLinesLeftOut: only counts whose lines the final count left out are counted.
func TestLinesLeftOut(t *testing.T) {
	c := CountsDiffer{{Lines: make([]LineCount, 1)}, {Lines: make([]LineCount, 2), LeftOut: true},
		{Lines: make([]LineCount, 3), LeftOut: true}}
	if got := c.LinesLeftOut(); got != 5 {
		t.Errorf("%d lines, want 5", got)
	}
	if got := c[:1].LinesLeftOut(); got != 0 {
		t.Errorf("%d lines, want none", got)
	}
}

// codesIn returns the values of the constants of type Code.
func codesIn(t *testing.T, file *ast.File) (codes []string) {
	ast.Inspect(file, func(n ast.Node) bool {
		spec, ok := n.(*ast.ValueSpec)
		if !ok || len(spec.Values) != 1 {
			return true
		}
		if typ, ok := spec.Type.(*ast.Ident); ok && typ.Name == "Code" {
			code, err := strconv.Unquote(spec.Values[0].(*ast.BasicLit).Value)
			if err != nil {
				t.Fatal(err)
			}
			codes = append(codes, code)
		}
		return true
	})
	return codes
}

// detailsIn returns the types that have a method Way.
func detailsIn(file *ast.File) (types []string) {
	for _, d := range file.Decls {
		if f, ok := d.(*ast.FuncDecl); ok && f.Name.Name == "Way" && f.Recv != nil {
			types = append(types, f.Recv.List[0].Type.(*ast.StarExpr).X.(*ast.Ident).Name)
		}
	}
	return types
}

// fill gives every field of a struct a value that is not its zero.
func fill(t *testing.T, v reflect.Value) {
	t.Helper()
	switch v.Kind() {
	case reflect.Struct:
		if v.Type() == reflect.TypeFor[time.Time]() {
			v.Set(reflect.ValueOf(time.Date(2026, 3, 4, 7, 12, 0, 0, time.UTC)))
			return
		}
		for i := range v.NumField() {
			fill(t, v.Field(i))
		}
	case reflect.Pointer:
		v.Set(reflect.New(v.Type().Elem()))
		fill(t, v.Elem())
	case reflect.Slice:
		v.Set(reflect.MakeSlice(v.Type(), 2, 2))
		fill(t, v.Index(0))
		fill(t, v.Index(1))
	case reflect.String:
		v.SetString("x")
	case reflect.Bool:
		v.SetBool(true)
	case reflect.Int, reflect.Int64:
		v.SetInt(7)
	case reflect.Uint8:
		v.SetUint(3)
	default:
		t.Fatalf("a detail has a %s", v.Type())
	}
}

// TestLaterWay: a way that this program does not know is kept without its detail.
func TestLaterWay(t *testing.T) {
	var f Finding
	if err := json.Unmarshal([]byte(`{"code":"not-released","way":"wet-pack","detail":{"set":"A"},"events":[1]}`), &f); err != nil {
		t.Fatal(err)
	}
	if f.Code != NotReleased || f.Way != "wet-pack" || f.Detail != nil || len(f.Events) != 1 {
		t.Fatalf("%+v", f)
	}
	if err := json.Unmarshal([]byte(`{"code":"not-released","way":"opened","detail":7}`), &f); err == nil {
		t.Fatal("a detail that is a number was read")
	}
}
