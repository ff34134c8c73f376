package main

import (
	"fmt"
	"go/ast"
	"go/constant"
	"go/token"
	"go/types"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
)

// mutant is one change. The program is rewritten so that it behaves as before unless the mutant is switched on.
type mutant struct {
	id    int
	where string // file:line:column as the user knows it
	what  string
	path  string
	line  int
	same  bool // listed as one that can't be told from the program as it is
	edits func(id int) []edit
}

// edit is text put in the place of source bytes. Edits that wrap the same bytes nest in the order in which they are
// made.
type edit struct {
	at, end  int    // offsets; equal for an insertion
	text     string //
	closes   int    // for an insertion behind bytes: where these begin, else -1
	openedBy int    // for an insertion in front of bytes: where these end, else -1
}

// finder collects the mutants of a package.
type finder struct {
	*source
	path    string
	parents []ast.Node
	skip    map[ast.Node]bool
	found   []*mutant
}

// find returns all mutants of a package in the order of its files.
func find(s *source, exclude *regexp.Regexp) []*mutant {
	f := &finder{source: s, skip: map[ast.Node]bool{}}
	for _, file := range s.files {
		f.path = s.fset.File(file.Pos()).Name()
		if exclude.MatchString(filepath.Base(f.path)) || ast.IsGenerated(file) {
			continue
		}
		ast.Inspect(file, func(n ast.Node) bool {
			if n == nil {
				f.parents = f.parents[:len(f.parents)-1]
				return true
			}
			if f.skip[n] || !f.visit(n) {
				return false
			}
			f.parents = append(f.parents, n)
			return true
		})
	}
	return f.found
}

// visit looks at a node and reports whether to look at what is inside it.
func (f *finder) visit(n ast.Node) bool {
	switch n := n.(type) {
	case *ast.ImportSpec, *ast.FieldList, *ast.ArrayType:
		return false // a constant in a type must stay a constant
	case *ast.GenDecl:
		return n.Tok == token.VAR
	case *ast.BlockStmt:
		f.statements(n.List)
	case *ast.CaseClause:
		f.statements(n.Body)
		f.conditionsOf(n)
	case *ast.CommClause:
		f.statements(n.Body)
	case *ast.IfStmt:
		f.condition(n.Cond)
	case *ast.ForStmt:
		f.condition(n.Cond)
	case *ast.CompositeLit:
		f.skipIndexes(n)
	case ast.Expr:
		return f.expression(n)
	}
	return true
}

// skipIndexes passes over the keys of an array or slice literal: these must stay constants.
func (f *finder) skipIndexes(lit *ast.CompositeLit) {
	switch f.info.TypeOf(lit).Underlying().(type) {
	case *types.Array, *types.Slice:
		for _, e := range lit.Elts {
			if kv, ok := e.(*ast.KeyValueExpr); ok {
				f.skip[kv.Key] = true
			}
		}
	}
}

func (f *finder) add(n ast.Node, what string, edits func(id int) []edit) {
	at := f.fset.Position(n.Pos())
	f.found = append(f.found, &mutant{
		id:    len(f.found) + 1,
		where: fmt.Sprintf("%s:%d:%d", relative(f.path), at.Line, at.Column),
		what:  what,
		path:  f.path,
		line:  at.Line,
		edits: edits,
	})
}

func (f *finder) offset(p token.Pos) int { return f.fset.Position(p).Offset }

// span returns where a node begins and ends.
func (f *finder) span(n ast.Node) (at, end int) { return f.offset(n.Pos()), f.offset(n.End()) }

// short returns a node's text on one line, cut where it is long.
func (f *finder) short(n ast.Node) string {
	at, end := f.span(n)
	s := strings.Join(strings.Fields(string(f.text[f.path][at:end])), " ")
	if r := []rune(s); len(r) > 60 {
		s = string(r[:57]) + "..."
	}
	return s
}

// wrap returns the edits that put text in front of a node and behind it.
func (f *finder) wrap(n ast.Node, before, after string) []edit {
	at, end := f.span(n)
	return []edit{
		{at: at, end: at, text: before, openedBy: end, closes: -1},
		{at: end, end: end, text: after, openedBy: -1, closes: at},
	}
}

// replace returns the edit that puts text in the place of a token.
func (f *finder) replace(at token.Pos, length int, text string) edit {
	o := f.offset(at)
	return edit{at: o, end: o + length, text: text, openedBy: -1, closes: -1}
}

// statements offers to leave out each statement that only has an effect, and changes the direction of += and the like.
func (f *finder) statements(list []ast.Stmt) {
	for _, s := range list {
		if l, ok := s.(*ast.LabeledStmt); ok {
			s = l.Stmt
		}
		switch s := s.(type) {
		case *ast.ExprStmt:
			if call, ok := s.X.(*ast.CallExpr); ok && leftAlone(call) {
				continue
			}
		case *ast.AssignStmt:
			if s.Tok == token.DEFINE || f.onlyBlank(s) {
				continue
			}
			f.assignment(s, s.TokPos, s.Tok, s.Lhs[0])
		case *ast.IncDecStmt:
			f.assignment(s, s.TokPos, s.Tok, s.X)
		case *ast.BranchStmt:
			if s.Tok == token.GOTO || s.Tok == token.FALLTHROUGH {
				continue
			}
		case *ast.SendStmt, *ast.GoStmt:
		default:
			continue
		}
		f.add(s, "left out: "+f.short(s), func(id int) []edit {
			return f.wrap(s, fmt.Sprintf("if !mutantOn(%d) { ", id), " }")
		})
	}
}

// leftAlone reports whether a call is of no use as a mutant: a panic may end a function that returns something, and a
// missing lock shows only by luck.
func leftAlone(call *ast.CallExpr) bool {
	switch fun := call.Fun.(type) {
	case *ast.Ident:
		return fun.Name == "panic"
	case *ast.SelectorExpr:
		return slices.Contains([]string{"Lock", "Unlock", "RLock", "RUnlock"}, fun.Sel.Name)
	}
	return false
}

// onlyBlank reports whether an assignment assigns to nothing.
func (f *finder) onlyBlank(s *ast.AssignStmt) bool {
	for _, e := range s.Lhs {
		if id, ok := e.(*ast.Ident); !ok || id.Name != "_" {
			return false
		}
	}
	return true
}

var turned = map[token.Token]token.Token{
	token.ADD: token.SUB, token.SUB: token.ADD,
	token.ADD_ASSIGN: token.SUB_ASSIGN, token.SUB_ASSIGN: token.ADD_ASSIGN,
	token.INC: token.DEC, token.DEC: token.INC,
}

// assignment offers x -= y for x += y, and the like.
func (f *finder) assignment(s ast.Stmt, op token.Pos, tok token.Token, x ast.Expr) {
	other, ok := turned[tok]
	if !ok || !isNumeric(f.info.TypeOf(x)) {
		return
	}
	at, end := f.span(s)
	text := string(f.text[f.path][at:end])
	cut := f.offset(op) - at
	// On one line, so that the lines of the file stay what they are.
	changed := oneLine(text[:cut] + other.String() + text[cut+len(tok.String()):])
	if changed == "" {
		return
	}
	f.add(s, fmt.Sprintf("%s for %s: %s", other, tok, f.short(s)), func(id int) []edit {
		return f.wrap(s, fmt.Sprintf("if mutantOn(%d) { %s } else { ", id, changed), " }")
	})
}

// oneLine returns a statement or expression that fits on one line, "" for others.
func oneLine(s string) string {
	if strings.ContainsAny(s, "\n`") || strings.Contains(s, "//") {
		return ""
	}
	return s
}

func isNumeric(t types.Type) bool {
	b, ok := t.Underlying().(*types.Basic)
	return ok && b.Info()&types.IsNumeric != 0
}

// conditionsOf looks at the cases of a switch without a tag, which are conditions.
func (f *finder) conditionsOf(c *ast.CaseClause) {
	if len(f.parents) < 2 {
		return
	}
	if s, ok := f.parents[len(f.parents)-2].(*ast.SwitchStmt); ok && s.Tag == nil {
		for _, e := range c.List {
			f.condition(e)
		}
	}
}

// condition offers to negate the parts of a condition that are no comparisons; these are met as expressions.
func (f *finder) condition(e ast.Expr) {
	switch x := ast.Unparen(e).(type) {
	case nil:
	case *ast.BinaryExpr:
		if x.Op == token.LAND || x.Op == token.LOR {
			f.condition(x.X)
			f.condition(x.Y)
		}
	case *ast.UnaryExpr:
		f.condition(x.X)
	default:
		if f.info.Types[x].Value != nil {
			return
		}
		f.add(x, "negated: "+f.short(x), func(id int) []edit {
			return f.wrap(x, fmt.Sprintf("mutantNot(%d, ", id), ")")
		})
	}
}

// expression offers changes of an expression and reports whether to look inside it.
func (f *finder) expression(e ast.Expr) bool {
	tv := f.info.Types[e]
	if tv.Value != nil {
		f.constant(e, tv)
		return false
	}
	if tv.IsType() {
		return false
	}
	if b, ok := e.(*ast.BinaryExpr); ok {
		f.binary(b)
	}
	return true
}

var bounds = map[token.Token]token.Token{
	token.LSS: token.LEQ, token.LEQ: token.LSS, token.GTR: token.GEQ, token.GEQ: token.GTR,
}

var helpers = map[token.Token]string{
	token.LSS: "mutantLess", token.LEQ: "mutantLessEqual", token.GTR: "mutantGreater", token.GEQ: "mutantGreaterEqual",
	token.ADD: "mutantAdd", token.SUB: "mutantSub",
}

func (f *finder) binary(b *ast.BinaryExpr) {
	call := func(id int) []edit {
		wrapped := f.wrap(b, fmt.Sprintf("%s(%d, ", helpers[b.Op], id), ")")
		return append(wrapped, f.replace(b.OpPos, len(b.Op.String()), ","))
	}
	switch b.Op {
	case token.EQL, token.NEQ, token.LSS, token.LEQ, token.GTR, token.GEQ:
		if other, ok := bounds[b.Op]; ok {
			f.add(b, fmt.Sprintf("%s for %s: %s", other, b.Op, f.short(b)), call)
		}
		// Outside the one above, whose helper takes the operands apart.
		f.add(b, "negated: "+f.short(b), func(id int) []edit {
			return f.wrap(b, fmt.Sprintf("mutantNot(%d, ", id), ")")
		})
	case token.LAND, token.LOR:
		other := token.LOR
		if b.Op == token.LOR {
			other = token.LAND
		}
		at, end := f.span(b)
		op := f.offset(b.OpPos)
		text := f.text[f.path]
		left, right := oneLine(string(text[at:op])), oneLine(string(text[op+2:end]))
		if left == "" || right == "" {
			return
		}
		f.add(b, fmt.Sprintf("%s for %s: %s", other, b.Op, f.short(b)), func(id int) []edit {
			either := fmt.Sprintf("(mutantOn(%d) && ((%s) %s (%s)) || !mutantOn(%d) && (", id, left, other, right, id)
			return f.wrap(b, either, "))")
		})
	case token.ADD, token.SUB:
		if isNumeric(f.info.TypeOf(b)) && !f.ofNoConsequence(b) {
			f.add(b, fmt.Sprintf("%s for %s: %s", turned[b.Op], b.Op, f.short(b)), call)
		}
	}
}

// constant offers another value for a constant expression that is not part of a greater one.
func (f *finder) constant(e ast.Expr, tv types.TypeAndValue) {
	name := f.typeName(tv.Type)
	if name == "" || f.ofNoConsequence(e) {
		return
	}
	text := f.short(e)
	switch tv.Value.Kind() {
	case constant.Bool:
		f.add(e, "negated: "+text, func(id int) []edit {
			return f.wrap(e, fmt.Sprintf("mutantNot[%s](%d, ", name, id), ")")
		})
	case constant.Int:
		if at, end := f.span(e); oneLine(string(f.text[f.path][at:end])) == "" {
			return
		}
		step, op := constant.MakeInt64(1), token.ADD
		if !fits(constant.BinaryOp(tv.Value, op, step), tv.Type) {
			op = token.SUB
		}
		other := constant.BinaryOp(tv.Value, op, step)
		what := fmt.Sprintf("%s for %s in %s", other, text, f.short(f.parents[len(f.parents)-1]))
		f.add(e, what, func(id int) []edit {
			return f.wrap(e, fmt.Sprintf("mutantValue[%s](%d, %s, ", name, id, other), ")")
		})
	}
}

// ofNoConsequence reports whether nobody may rely on a constant: it stands for a result beside an error, or asks for
// memory ahead of time. Such mutants survive in good tests too.
func (f *finder) ofNoConsequence(e ast.Expr) bool {
	var child ast.Node = e
	for _, n := range slices.Backward(f.parents) {
		switch n := n.(type) {
		case *ast.CallExpr:
			if id, ok := n.Fun.(*ast.Ident); ok && id.Name == "make" && f.info.Types[n.Fun].IsBuiltin() {
				_, isMap := f.info.TypeOf(n).Underlying().(*types.Map)
				return isMap || len(n.Args) == 3 && child == n.Args[2]
			}
		case *ast.ReturnStmt:
			last := n.Results[len(n.Results)-1]
			return child != last && !f.info.Types[last].IsNil() &&
				types.Identical(f.info.TypeOf(last), types.Universe.Lookup("error").Type())
		case ast.Stmt:
			return false
		}
		child = n
	}
	return false
}

// typeName names a type in the file at hand, "" if that is not plain.
func (f *finder) typeName(t types.Type) string {
	switch t := t.(type) {
	case *types.Basic:
		if t.Info()&types.IsUntyped != 0 {
			t, _ = types.Default(t).(*types.Basic)
		}
		if t.Info()&(types.IsInteger|types.IsBoolean) != 0 {
			return t.Name()
		}
	case *types.Named:
		basic, ok := t.Underlying().(*types.Basic)
		if ok && basic.Info()&(types.IsInteger|types.IsBoolean) != 0 &&
			t.Obj().Pkg() == f.pkg && t.Obj().Parent() == f.pkg.Scope() {
			return t.Obj().Name()
		}
	}
	return ""
}

// fits reports whether a type holds a value.
func fits(v constant.Value, t types.Type) bool {
	basic, ok := types.Default(t).Underlying().(*types.Basic)
	if !ok {
		return false
	}
	bits := map[types.BasicKind]uint{
		types.Uint8: 8, types.Int8: 7, types.Uint16: 16, types.Int16: 15, types.Uint32: 32, types.Int32: 31,
		types.Uint64: 64, types.Uint: 64, types.Uintptr: 64, types.Int64: 63, types.Int: 63,
	}[basic.Kind()]
	limit := constant.Shift(constant.MakeInt64(1), token.SHL, bits)
	return constant.Compare(v, token.LSS, limit)
}
