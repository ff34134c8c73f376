package events

import (
	"encoding/json"
	"fmt"
	"slices"
	"strings"
	"testing"

	"github.com/go-json-experiment/json/jsontext"
)

// TestRulesBetweenMembers holds each rule about several members of data together: TestBounds changes one at a time. Each
// row is an example of a kind with members changed; what is refused has a row beside it that isn't, and differs as little.
func TestRulesBetweenMembers(t *testing.T) {
	t.Parallel()
	for _, tt := range rules(t) {
		info, _ := tt.kind.Info()
		for change, good := range tt.changes {
			d := info.New()
			for _, text := range []string{tt.base, change} {
				if err := json.Unmarshal([]byte(text), d); err != nil {
					t.Fatalf("%s %s: %v", tt.kind, text, err)
				}
			}
			if err := d.Check(); (err == nil) != good {
				t.Errorf("%s %.300s: %v", tt.kind, change, err)
			}
		}
	}
}

// ruled is data of a kind, and what may be changed in it or may not.
type ruled struct {
	kind    Kind
	base    string
	changes map[string]bool
}

func rules(t *testing.T) []ruled {
	code := testCode(t).String()
	digest := Digest{1}.String()
	page := func(s string) string {
		return `{"paper":{"pages":[` + strings.ReplaceAll(s, "PIC", `"picture":"`+digest+`","marks":"t"`) + `]}}`
	}
	list := `{"list":"L","version":1,"title":"t","lines":[{"line":1,"item":"I","description":"d","quantity":1}]}`
	counted := `{"case":"K","stage":"final","sheet":"screen","counter":"B","counts":[{"line":1,"counted":1},{"line":2,"counted":1}]}`
	run := `{"load":"L","sterilizer":"S","started":"2026-03-02T06:11:00Z","cycle":{"name":"C","source":"s","lowMilliC":9,"holdSeconds":1},` +
		`"figures":{"points":1,"holdMillis":0,"minMilliC":9,"maxMilliC":9}}`
	read := `{"time":"#1","clock":"s","zone":"UTC","temperatures":["#2"],"temperatureUnit":"C","barometerPascal":101325`
	return append(sheetRules(code),
		ruled{KindListIssued, list, map[string]bool{
			`{}`:               true,
			`{"lines":null}`:   false,
			`{"goods":true}`:   false, // without a sort
			`{"cycles":["C"]}`: true, `{"cycles":["C","C C"]}`: false,
			`{"goods":true,"lines":[{"line":1,"item":"I","description":"d","quantity":1,"sort":"sponges"}]}`:                        true,
			`{"goods":true,"lines":[{"line":1,"item":"I","description":"d","quantity":0,"sort":"sponges"}]}`:                        false,
			`{"lines":[{"line":1,"item":"I","description":"d","quantity":0}]}`:                                                      true,
			`{"lines":[{"line":1,"item":"I","description":"d","quantity":1,"sort":"sponges"}]}`:                                     false,
			`{"lines":[{"line":1,"item":"I","description":"d","quantity":1},{"line":2,"item":"I","description":"d","quantity":1}]}`: true,
			`{"lines":[{"line":1,"item":"I","description":"d","quantity":1},{"line":1,"item":"I","description":"d","quantity":1}]}`: false,
		}},
		ruled{KindSetPacked, `{"list":"L","version":1}`, map[string]bool{
			`{"exceptions":[{"line":1,"counted":0,"reason":"r"},{"line":2,"counted":0,"reason":"r"}]}`: true,
			`{"exceptions":[{"line":1,"counted":0,"reason":"r"},{"line":1,"counted":0,"reason":"r"}]}`: false,
		}},
		ruled{KindSetReturned, `{"step":"arrived"}`, map[string]bool{
			`{"exceptions":[{"line":1,"counted":0,"reason":"r"},{"line":2,"counted":0,"reason":"r"}]}`: true,
			`{"exceptions":[{"line":1,"counted":0,"reason":"r"},{"line":1,"counted":0,"reason":"r"}]}`: false,
			`{"faults":["soiled","damaged"]}`: true, `{"faults":["soiled","damaged","soiled"]}`: false,
			`{"due":"2199-12-31T23:59:59Z"}`: true, `{"due":"2200-01-01T00:00:00Z"}`: false,
		}},
		ruled{KindSetChecked, `{}`, map[string]bool{
			`{"aside":"put-aside"}`: true, `{"aside":"released"}`: false, `{"aside":"released","reason":"r"}`: true,
			`{"reason":"r"}`:             true,
			`{"package":["wet","torn"]}`: true, `{"package":["wet","torn","wet"]}`: false,
		}},
		ruled{KindPieceReported, `{"became":"lost","quantity":1}`, map[string]bool{
			`{}`: false, `{"line":1}`: true, `{"item":"I"}`: true, `{"line":1,"item":"I"}`: true,
		}},
		ruled{KindSetCounted, counted, map[string]bool{
			`{}`: true, `{"sheet":""}`: false, `{"sheet":"unreadable"}`: true, `{"sheet":"` + code + `"}`: true,
			`{"sheetText":"x"}`: false, `{"sheet":"unreadable","sheetText":"x"}`: true,
			`{"counts":[{"line":1,"counted":1},{"line":1,"counted":1}]}`:             false,
			`{"beyond":[{"line":1,"description":"d"},{"line":2,"description":"d"}]}`: true,
			`{"beyond":[{"line":1,"description":"d"},{"line":1,"description":"d"}]}`: false,
			`{"beyond":[{"line":3,"description":"d"}]}`:                              false,
			`{"beyond":[{"line":1,"description":"d","added":1}]}`:                    true,
			`{"stage":"added","beyond":[{"line":1,"description":"d","added":1}]}`:    false,
			`{"stage":"added","beyond":[{"line":1,"description":"d"}]}`:              true,
			`{"goods":"G"}`: false,
			`{"goods":"G","beyond":[{"line":1,"description":"d"}]}`:                              false,
			`{"goods":"G","beyond":[{"line":1,"description":"d"},{"line":2,"description":"d"}]}`: true,
			`{"goods":"G","beyond":[{"line":2,"description":"d"},{"line":1,"description":"d"}]}`: true,
			`{"paper":{}}`:                                                               false,
			`{"paper":{"typed":true}}`:                                                   true,
			page(`{"page":1,"of":1,PIC}`):                                                true,
			page(`{"page":2,"of":2,PIC}`):                                                true,
			page(`{"page":2,"of":1,PIC}`):                                                false,
			page(`{"page":0,"of":1,PIC}`):                                                false,
			page(`{"page":1,"of":2,PIC},{"page":2,"of":2,PIC}`):                          true,
			page(`{"page":2,"of":2,PIC},{"page":2,"of":2,PIC}`):                          false,
			page(`{"page":2,"of":2,PIC},{"page":1,"of":2,PIC}`):                          false,
			page(`{"page":1,"of":1}`):                                                    false,
			page(`{"page":1,"of":1,PIC,"kept":"` + digest + `"}`):                        true,
			page(`{"page":1,"of":1,PIC,"marks":"` + strings.Repeat("tea", 333) + `t"}`):  true,
			page(`{"page":1,"of":1,PIC,"marks":"` + strings.Repeat("tea", 333) + `te"}`): false,
			page(`{"page":1,"of":1,PIC,"marks":"txt"}`):                                  false,
			`{"paper":{"typed":true,"asked":[1,2]}}`:                                     true,
			`{"paper":{"typed":true,"asked":[2]}}`:                                       true,
			`{"paper":{"typed":true,"asked":[2,1]}}`:                                     false,
			`{"paper":{"typed":true,"asked":[1,1]}}`:                                     false,
			`{"paper":{"typed":true,"asked":[1,3]}}`:                                     false,
		}},
		ruled{KindRunLogged, run, map[string]bool{
			`{}`: true, `{"started":""}`: false,
			`{"cycle":{"highMilliC":9}}`: false, `{"cycle":{"highMilliC":10}}`: true,
			`{"cycle":{"highMilliC":8}}`:   false,
			`{"figures":{"minMilliC":10}}`: false, `{"figures":{"maxMilliC":8}}`: false,
			`{"figures":{"maxMilliC":10}}`: true,
			`{"figures":{"minPascal":1}}`:  false, `{"figures":{"maxPascal":1}}`: false,
			`{"figures":{"minPascal":1,"maxPascal":1}}`: true, `{"figures":{"minPascal":2,"maxPascal":1}}`: false,
			`{"figures":{"minPascal":1,"maxPascal":1,"steamLowMilliK":-2000000,"steamHighMilliK":2000000}}`: true,
			`{"figures":{"minPascal":1,"maxPascal":1,"steamLowMilliK":-2000001}}`:                           false,
			`{"figures":{"minPascal":1,"maxPascal":1,"steamHighMilliK":2000001}}`:                           false,
			`{"figures":{"minPascal":1,"maxPascal":1,"steamLowMilliK":2,"steamHighMilliK":2}}`:              true,
			`{"figures":{"minPascal":1,"maxPascal":1,"steamLowMilliK":2,"steamHighMilliK":1}}`:              false,
			`{"figures":{"steamLowMilliK":-1}}`:                                                             false,
			`{"figures":{"steamHighMilliK":1}}`:                                                             false,
			`{"figures":{"steamLowMilliK":1,"steamHighMilliK":1}}`:                                          false,
			`{"log":"` + digest + `"}`:                                                                      false,
			`{"read":` + read + `}}`:                                                                        false,
			`{"log":"` + digest + `","read":` + read + `}}`:                                                 true,
			`{"log":"` + digest + `","read":` + read + `,"pressure":"#3"}}`:                                 false,
			`{"log":"` + digest + `","read":` + read + `,"pressure":"#3","pressureUnit":"kPa"}}`:            true,
			`{"log":"` + digest + `","read":` + read + `,"temperatures":null}}`:                             false,
		}},
		ruled{KindSterilizerTested, `{"sterilizer":"S","day":"2026-03-04","test":"leak","result":"passed"}`, map[string]bool{
			`{}`: true, `{"day":""}`: false, `{"day":"2026-02-30"}`: false, `{"result":"not-done"}`: false,
			`{"result":"not-done","reason":"r"}`: true, `{"ratePascal":130}`: false,
			`{"ratePascal":131,"limitPascal":130}`: true, `{"limitPascal":130}`: true, `{"test":"bowie-dick"}`: true,
			`{"test":"bowie-dick","limitPascal":130}`: false,
		}},
		ruled{KindEventCorrected, `{"event":"` + testTrip(0) + `","reason":"r"}`, map[string]bool{
			`{"action":"void"}`: true, `{"action":"void","data":{}}`: false, `{"action":"replace"}`: false,
			`{"action":"replace","data":{}}`: true,
		}},
		ruled{KindPlacementsAssessed, `{"placements":["outside","screen"],"document":"d"}`, map[string]bool{
			`{}`: true, `{"document":""}`: false, `{"document":"` + strings.Repeat("d", MaxDocument) + `"}`: true,
			`{"document":"` + strings.Repeat("d", MaxDocument+1) + `"}`: false, `{"placements":null}`: false,
			`{"placements":["inside-bag","inside-bare","outside","screen"]}`: true,
			`{"placements":["outside","outside"]}`:                           false,
		}},
		ruled{KindCaseScheduled, `{"case":"K","state":"booked","start":"2026-03-02T06:11:00Z"}`, map[string]bool{
			`{}`: true, `{"start":""}`: false, `{"start":"1999-12-31T23:59:59Z"}`: false,
			`{"start":"2000-01-01T00:00:00Z"}`: true,
			`{"state":"changed"}`:              true, `{"state":"cancelled"}`: true, `{"state":"held"}`: false,
		}},
		redactedRules(),
	)
}

func sheetRules(code string) (out []ruled) {
	for _, k := range []Kind{KindSetChecked, KindSetOpened} {
		out = append(out, ruled{k, `{"case":"K"}`, map[string]bool{
			`{"sheet":{"found":"none"}}`:                                             true,
			`{"sheet":{"found":"none","code":"` + code + `"}}`:                       false,
			`{"sheet":{"found":"none","unreadable":true}}`:                           false,
			`{"sheet":{"found":"outside"}}`:                                          true,
			`{"sheet":{"found":"outside","code":"` + code + `"}}`:                    true,
			`{"sheet":{"found":"outside","unreadable":true}}`:                        true,
			`{"sheet":{"found":"outside","unreadable":true,"code":"` + code + `"}}`:  false,
			`{"sheet":{"found":"outside","unreadable":true,"text":"x"}}`:             true,
			`{"sheet":{"found":"outside","text":"x"}}`:                               false,
			`{"sheet":{"found":"outside","code":"` + code + `","pages":[1]}}`:        false,
			`{"sheet":{"found":"outside","code":"` + code + `","of":1}}`:             false,
			`{"sheet":{"found":"outside","code":"` + code + `","pages":[1],"of":1}}`: true,
			`{"sheet":{"found":"outside","unreadable":true,"pages":[1],"of":1}}`:     true,
			`{"sheet":{"found":"outside","pages":[1],"of":1}}`:                       false,
			`{"sheet":{"found":"outside","unreadable":true,"pages":[2],"of":1}}`:     false,
			`{"sheet":{"found":"outside","unreadable":true,"pages":[0],"of":1}}`:     false,
			`{"sheet":{"found":"outside","unreadable":true,"pages":[1,2],"of":2}}`:   true,
			`{"sheet":{"found":"outside","unreadable":true,"pages":[2,2],"of":2}}`:   false,
			`{"sheet":{"found":"outside","unreadable":true,"pages":[2,1],"of":2}}`:   false,
			`{"sheet":{"found":"outside","unreadable":true,"pages":[99],"of":99}}`:   true,
			`{"sheet":{"found":"outside","unreadable":true,"pages":[99],"of":100}}`:  false,
		}})
	}
	return out
}

func redactedRules() ruled {
	marks := func(n int) []string {
		var out []string
		for i := range n {
			out = append(out, Mark(fmt.Sprint(i)))
		}
		slices.Sort(out)
		return out
	}
	say := func(marks []string) string {
		raw, err := json.Marshal(map[string][]string{"marks": marks})
		if err != nil {
			panic(err)
		}
		return string(raw)
	}
	turned := marks(2)
	slices.Reverse(turned)
	return ruled{KindTextsRedacted, `{"reason":"r"}`, map[string]bool{
		say(nil): false, say(marks(1)): true, say(marks(MaxRedacted)): true, say(marks(MaxRedacted + 1)): false,
		say(turned): false, say([]string{Mark("1"), Mark("1")}): false,
	}}
}

// TestRulesOfEntries is TestRulesBetweenMembers for the entries of registers.
func TestRulesOfEntries(t *testing.T) {
	t.Parallel()
	for base, changes := range map[Data]map[string]bool{
		&PersonEntered{}: {
			`{"badge":"B","roles":["records"]}`: true, `{"badge":"B"}`: false,
			`{"badge":"B","held":{"ended":true}}`:                 true,
			`{"badge":"B","roles":["records","leads"]}`:           true,
			`{"badge":"B","roles":["records","leads","records"]}`: false,
			`{"badge":"Ｂ","roles":["records"]}`:                   false, // a full-width letter
		},
		&StationEntered{}: {
			`{"name":"a/b","works":["packing"]}`: true, `{"name":"a/b"}`: false,
			`{"name":"a/b","held":{"ended":true}}`:                     true,
			`{"name":"a/b","works":["packing","storage","packing"]}`:   false,
			`{"name":"a/b","works":["packing","storage"]}`:             true,
			`{"name":"a/b","works":["operating-room"]}`:                true,
			`{"name":"a/b","works":["packing"],"sterilizers":["S 1"]}`: false,
		},
		&SetEntered{}: {
			`{"set":"S","tags":["a","b"]}`: true, `{"set":"S","tags":["a","b","a"]}`: false,
			`{"set":"S","tags":["S"]}`: false,
		},
		&SterilizerEntered{}: {
			`{"sterilizer":"S","cycles":["a","b"]}`: true, `{"sterilizer":"S","cycles":["a","b","a"]}`: false,
		},
		&RegistersAdopted{}: {
			`{}`: true, `{"registers":["sets","people"]}`: true, `{"registers":["sets","people","sets"]}`: false,
		},
		&PlaceEntered{}: {
			`{"place":"P","held":{"from":"2026-03-02T06:11:00Z","until":"2026-03-02T06:11:01Z"}}`: true,
			`{"place":"P","held":{"from":"2026-03-02T06:11:00Z","until":"2026-03-02T06:11:00Z"}}`: false,
			`{"place":"P","held":{"from":"2026-03-02T06:11:01Z","until":"2026-03-02T06:11:00Z"}}`: false,
			`{"place":"P","held":{"until":"2026-03-02T06:11:00Z"}}`:                               true,
			`{"place":"P","held":{"from":"2026-03-02T06:11:00Z"}}`:                                true,
			`{"place":"P","held":{"from":"1999-12-31T23:59:59Z"}}`:                                false,
			`{"place":"P","held":{"until":"2200-01-01T00:00:00Z"}}`:                               false,
			`{"place":"P","held":{"until":"next year"}}`:                                          false,
		},
	} {
		for text, good := range changes {
			d := base.Kind().newData()
			if err := json.Unmarshal([]byte(text), d); err != nil {
				t.Fatal(err)
			}
			if err := d.Check(); (err == nil) != good {
				t.Errorf("%s %s: %v", d.Kind(), text, err)
			}
		}
	}
}

// TestRulesOfKeys: a ledger's key is followed by another one of the same ledger, and a station's carries its name.
func TestRulesOfKeys(t *testing.T) {
	t.Parallel()
	vkey := func(name string, seed byte) string { return newTestKey(t, name, seed).vkey }
	ledger, next := vkey(LedgerName("north"), 1), vkey(LedgerName("north"), 2)
	for _, tt := range []struct {
		data Data
		want string
	}{
		{&KeyReplaced{Former: ledger, Key: next, Reason: "r"}, ""},
		{&KeyReplaced{Former: ledger, Key: next}, "reason is missing"},
		{&KeyReplaced{Former: ledger, Key: ledger, Reason: "r"}, "replaces itself"},
		{&KeyReplaced{Former: "x", Key: next, Reason: "r"}, "former is not"},
		{&KeyReplaced{Former: ledger, Key: "x", Reason: "r"}, "key is not"},
		{&KeyReplaced{Former: ledger, Key: vkey(LedgerName("south"), 2), Reason: "r"}, "of one ledger"},
		{&KeyReplaced{Former: vkey("north/or-3", 1), Key: vkey("north/or-3", 2), Reason: "r"}, "no ledger's name"},
		{&StationEnrolled{Station: "north/or-3", Key: vkey("north/or-3", 1)}, ""},
		{&StationEnrolled{Station: "north/or-4", Key: vkey("north/or-3", 1)}, "carries its name"},
		{&StationEnrolled{Station: "north/or-3", Key: "x"}, "key of north/or-3 is not"},
		{&StationEnrolled{Key: vkey("north/or-3", 1)}, "site/station"},
		{&RecordsMapped{}, "root is missing"},
		{&EventCorrected{Event: testTrip(0), Action: "replace", Reason: "r", Data: jsontext.Value("{}")}, ""},
	} {
		err := tt.data.Check()
		if (err == nil) != (tt.want == "") || err != nil && !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%+v: %v, want %q", tt.data, err, tt.want)
		}
	}
}
