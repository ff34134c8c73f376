package events

import (
	"reflect"
	"slices"
	"strings"
	"testing"
)

// TestBadgesIn: every member of data that says in its comment or name that it is a badge is found, also in a correction.
func TestBadgesIn(t *testing.T) {
	for _, test := range []struct {
		data Data
		want string
	}{
		{&SetPacked{SecondLook: "B-1"}, "secondLook B-1"},
		{&SetPacked{}, ""},
		{&SetSterilized{Loader: "B-2"}, "loader B-2"},
		{&SetSterilized{Loader: "B-2", SecondLook: "B-9"}, "loader B-2, secondLook B-9"},
		{&SetCounted{Counter: "B-3", Witness: "B-4"}, "counter B-3, witness B-4"},
		{&CaseClosed{Witness: "B-5"}, "witness B-5"},
		{&PersonEntered{Badge: "B-6"}, "badge B-6"},
		{&AccessClaimed{Badge: "B-7"}, "badge B-7"},
		{&EventCorrected{Data: []byte(`{"counter":"B-8","witness":"","loader":5}`)}, "counter B-8"},
		{&EventCorrected{}, ""},
	} {
		var got []string
		for _, b := range BadgesIn(test.data) {
			got = append(got, b.As+" "+b.Badge)
		}
		if s := strings.Join(got, ", "); s != test.want {
			t.Errorf("%T: %q, want %q", test.data, s, test.want)
		}
	}
	// A kind that gets such a member and is forgotten here.
	for _, kind := range Kinds() {
		v := reflect.ValueOf(kind.newData()).Elem()
		want := 0
		for i := range v.NumField() {
			name, _, _ := strings.Cut(v.Type().Field(i).Tag.Get("json"), ",")
			if slices.Contains(BadgeMembers(), name) && v.Field(i).Kind() == reflect.String {
				v.Field(i).SetString("B-9")
				want++
			}
		}
		if got := len(BadgesIn(v.Addr().Interface().(Data))); got != want {
			t.Errorf("%s names %d badges, %d are found", kind, want, got)
		}
	}
}
