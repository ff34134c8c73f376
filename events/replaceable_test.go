package events

import (
	"reflect"
	"strings"
	"testing"
)

// TestReplaceable: each member that a form asks for is one of its kind's data, in the form in which it is there, and its words
// are those that the data takes.
func TestReplaceable(t *testing.T) {
	asked := 0
	for _, info := range kindTable {
		d := reflect.TypeOf(info.New()).Elem()
		for _, m := range Replaceable(info.Kind) {
			asked++
			checkMember(t, string(info.Kind), d, m)
		}
	}
	if asked < 50 {
		t.Errorf("%d members are asked for", asked)
	}
	for _, k := range []Kind{KindRunLogged, KindPolicyAdopted, KindStationEnrolled, KindPersonEntered, KindEventCorrected, KindListIssued} {
		if Replaceable(k) != nil {
			t.Errorf("a %s can be said anew in the form", k)
		}
	}
}

// checkMember looks a member up in a struct by its name in JSON.
func checkMember(t *testing.T, where string, d reflect.Type, m Member) {
	t.Helper()
	outer, inner, nested := strings.Cut(m.Name, ".")
	for f := range d.Fields() {
		if name, _, _ := strings.Cut(f.Tag.Get("json"), ","); name != outer {
			continue
		}
		if nested {
			m.Name = inner
			checkMember(t, where+"."+outer, f.Type.Elem(), m)
			return
		}
		want := map[MemberForm]reflect.Kind{MemberText: reflect.String, MemberOneOf: reflect.String, MemberNumber: reflect.Int64,
			MemberYesNo: reflect.Bool, MemberSomeOf: reflect.Slice, MemberList: reflect.Slice, MemberRows: reflect.Slice}[m.Form]
		if f.Type.Kind() != want || (m.Form == MemberOneOf || m.Form == MemberSomeOf) != (len(m.Words) > 0) {
			t.Errorf("%s: %s is a %s, asked for as %s", where, m.Name, f.Type, m.Form)
		}
		for _, c := range m.Columns {
			checkMember(t, where+"."+outer, f.Type.Elem(), c)
		}
		// A row is said anew as a whole: what the form does not ask for would be gone from it.
		if m.Form == MemberRows && f.Type.Elem().NumField() != len(m.Columns) {
			t.Errorf("%s: a row of %s has %d members, asked for are %d", where, m.Name, f.Type.Elem().NumField(), len(m.Columns))
		}
		return
	}
	t.Errorf("%s has no %s", where, m.Name)
}
