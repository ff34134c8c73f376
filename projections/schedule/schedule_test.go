package schedule_test

import (
	"fmt"
	"os"
	"reflect"
	"strings"
	"testing"
	"time"

	"listbound/projections/schedule"
)

// how reads as a site in Berlin does, with headings as its catalogue has them.
func how(t testing.TB) *schedule.How {
	t.Helper()
	zone, err := time.LoadLocation("Europe/Berlin")
	if err != nil {
		t.Fatal(err)
	}
	return &schedule.How{Zone: zone,
		Columns: map[string]string{"case": "case", "case no": "case", "or": "room", "room": "room", "start": "start", "date": "day",
			"time": "time", "state": "state", "sets": "sets", "lists": "lists", "as of": "said"},
		States: map[string]schedule.State{"booked": schedule.Booked, "changed": schedule.Changed, "cancelled": schedule.Cancelled,
			"abgesagt": schedule.Cancelled}}
}

// line is an entry as a test compares it.
func line(e *schedule.Entry) string {
	at := func(t time.Time) string {
		if t.IsZero() {
			return "-"
		}
		return t.UTC().Format("2006-01-02T15:04:05Z")
	}
	wanted := "nothing said"
	if e.Wanted != nil {
		wanted = ""
	}
	for _, w := range e.Wanted {
		wanted += fmt.Sprintf("[%s %s x%d %v]", w.As, strings.Join(w.IDs, "/"), w.Count, w.Perhaps)
	}
	return fmt.Sprintf("%d %s|%s|%s|%s|%s|%s", e.Row, e.Case, e.Room, at(e.Start), e.State, wanted, at(e.Said))
}

func check(t *testing.T, got schedule.Read, want []string, passed int) {
	t.Helper()
	var lines []string
	for i := range got.Entries {
		lines = append(lines, line(&got.Entries[i]))
	}
	if !reflect.DeepEqual(lines, want) || len(got.Problems) > 0 || got.Passed != passed {
		t.Errorf("read\n%s\n%v, passed over %d; want\n%s", strings.Join(lines, "\n"), got.Problems, got.Passed, strings.Join(want, "\n"))
	}
}

func TestTable(t *testing.T) {
	check(t, schedule.Parse([]byte("\xef\xbb\xbfSchedule of 4 March\n\nCase No.;OR;Date;Time;Procedure;Patient;Lists;State;Sets\n"+
		"K-0412;OR 3;04.03.2026;07:30;Cholecystectomy;Doe, Jane;LAP-MAJOR x2, VAS;booked;\n"+
		"K-0413; OR  4 ;04.03.2026;9:05;;;2 x LAP-MAJOR VAS;;MIN-005 MIN-006\n\n"+
		"K-0414;;;;;;;Abgesagt;\n"), how(t)), []string{
		"4 K-0412|OR 3|2026-03-04T06:30:00Z|booked|[list LAP-MAJOR x2 false][list VAS x1 false]|-",
		"5 K-0413|OR 4|2026-03-04T08:05:00Z||[set MIN-005 x1 false][set MIN-006 x1 false][list LAP-MAJOR x2 false][list VAS x1 false]|-",
		"7 K-0414||-|cancelled||-",
	}, 0)
	// A table without columns for sets says nothing of them; times with a zone have it.
	check(t, schedule.Parse([]byte("case,start,as of\nK-1,2026-07-01T07:30:00+02:00,2026-06-30 12:00\n"), how(t)),
		[]string{"2 K-1||2026-07-01T05:30:00Z||nothing said|2026-06-30T10:00:00Z"}, 0)
	us := how(t)
	us.MonthFirst = true
	check(t, schedule.Parse([]byte("case,start\nK-1,3/4/2026 1:05 pm\n"), us), []string{"2 K-1||2026-03-04T12:05:00Z||nothing said|-"}, 0)
	us.MonthFirst, us.DayFirst = false, true
	check(t, schedule.Parse([]byte("case,start\nK-1,3/4/2026 13:05\n"), us), []string{"2 K-1||2026-04-03T11:05:00Z||nothing said|-"}, 0)
}

func published(t testing.TB, name string) []byte {
	t.Helper()
	raw, err := os.ReadFile("testdata/" + name)
	if err != nil {
		t.Fatal(err)
	}
	return raw
}

// TestPublished: examples as published, see testdata/README.md.
func TestPublished(t *testing.T) {
	check(t, schedule.Parse(published(t, "s12.hl7"), how(t)),
		[]string{"1 2196178|OFFICE|2011-06-17T06:45:00Z|booked|[ 1 x1 true]|2011-06-13T04:16:11Z"}, 0)
	check(t, schedule.Parse(published(t, "s14.hl7"), how(t)),
		[]string{"1 00331839401|FPCS NGUYEN, MD|2008-03-06T09:00:00Z|changed|nothing said|2008-03-06T08:53:00Z"}, 0)
	check(t, schedule.Parse(published(t, "appointment-example.json"), how(t)),
		[]string{"1 example|South Wing, second floor|2013-12-10T09:00:00Z||[list 52 x1 true]|-"}, 0)
}

// siu is a message with what of it is read, segments separated as given.
func siu(event string, segments ...string) string {
	return "MSH|^~\\&|OR|H|LB|H|20260303160000||SIU^" + event + "^SIU_S12|1|P|2.5.1\r" + strings.Join(segments, "\r") + "\r"
}

// TestMessages: fields by HL7 v2.5.1, chapter 10 (SCH, AIS, AIG, AIL) and 4 (TQ1); escapes by 2.7.
func TestMessages(t *testing.T) {
	sch := "SCH|P-1^OR|K-0412^SCHED|||||||||^^^202603040700"
	framed := "\x0b" + siu("S12", sch, "AIS|1|A|4711^Hip|20260304073000-0500", "AIL|1|A|OR^3") + "\x1c\r"
	moved := "\x0b" + siu("S13", sch+"^^~^^^202603050900", "RGS|1", "AIG|1|A|LAP-MAJOR^Major^L^4711^^|INST||2.0", "AIG|2|D|VAS",
		"AIL|1|D|OR^2", "AIL|2|A|OR^OR\\T\\4 \\H\\B\\N\\ \\X41\\") + "\x1c\r"
	other := "\x0b" + siu("S26", sch) + "\x1c\r\x0b" + strings.Replace(siu("S12", sch), "SIU", "ADT", 1) + "\x1c\r"
	check(t, schedule.Parse([]byte(framed+moved+other+"\x0b"+siu("S15", `SCH|""|K-0412`)+"\x1c\r"), how(t)), []string{
		"1 K-0412|3|2026-03-04T12:30:00Z|booked|[list 4711 x1 true]|2026-03-03T15:00:00Z",
		"6 K-0412|OR&4 B A|2026-03-04T06:00:00Z|changed|[ LAP-MAJOR/4711 x2 true]|2026-03-03T15:00:00Z",
		"20 K-0412||-|cancelled|nothing said|2026-03-03T15:00:00Z",
	}, 2)
	// Other separators, a batch, and the order of what says the start.
	batch := "FHS|^~\\&|\nBHS|^~\\&|\nMSH#*~!+#OR#H#LB#H#202603031600##SIU*S14#1#P#2.5.1\nSCH##K-1!F!2*x\nTQ1#1######20260304110000\n" +
		"AIL#1#A#OR#####\nBTS|1\n"
	check(t, schedule.Parse([]byte(batch), how(t)),
		[]string{"3 K-1#2|OR|2026-03-04T10:00:00Z|changed|nothing said|2026-03-03T15:00:00Z"}, 0)
}

// TestWhichID: of several ids of an appointment the one is the case's that is written as the site writes its cases.
func TestWhichID(t *testing.T) {
	h := how(t)
	h.CaseFits = func(id string) bool { return strings.HasPrefix(id, "K-") }
	check(t, schedule.Parse([]byte(siu("S12", "SCH|K-7|990-11|||||||||^^^202603040700")), h),
		[]string{"1 K-7||2026-03-04T06:00:00Z|booked|nothing said|2026-03-03T15:00:00Z"}, 0)
	check(t, schedule.Parse([]byte(`{"resourceType":"Appointment","id":"a1","status":"booked","start":"2026-03-04T07:00:00Z",`+
		`"identifier":[{"value":"990"},{"value":"K-8"}]}`), h), []string{"1 K-8||2026-03-04T07:00:00Z||nothing said|-"}, 0)
}

// TestBundle: locations are named by their resources, devices are wanted, and who takes part is passed over.
func TestBundle(t *testing.T) {
	check(t, schedule.Parse([]byte(`{"resourceType":"Bundle","type":"message","entry":[
		{"resource":{"resourceType":"Patient","id":"p","name":[{"family":"Doe"}]}},
		{"fullUrl":"urn:uuid:5","resource":{"resourceType":"Location","id":"or3","name":"OR 3"}},
		{"resource":{"resourceType":"Appointment","id":"K-1","status":"booked","start":"2026-03-04T07:30:00+01:00",
			"meta":{"lastUpdated":"2026-03-03T10:00:00Z"},"participant":[{"actor":{"reference":"urn:uuid:5"}},
			{"actor":{"reference":"Patient/p","display":"Doe"}},{"actor":{"reference":"https://h.example/fhir/Device/MIN-005"}},
			{"actor":{"type":"Device","identifier":{"value":"LAP-MAJOR"}}}]}},
		{"resource":{"resourceType":"Appointment","id":"K-2","status":"cancelled","contained":[{"resourceType":"Location","id":"l",
			"name":"OR 4"}],"participant":[{"actor":{"reference":"#l"}}]}},
		{"resource":{"resourceType":"Appointment","id":"K-3","status":"proposed"}}]}`), how(t)), []string{
		"1 K-1|OR 3|2026-03-04T06:30:00Z||[ MIN-005 x1 true][ LAP-MAJOR x1 true]|2026-03-03T10:00:00Z",
		"2 K-2|OR 4|-|cancelled|nothing said|-",
	}, 1)
}

// TestRefused: what is wrong is said with its line and what to do, and never with the value.
func TestRefused(t *testing.T) {
	for in, want := range map[string]string{
		"":                                   "empty",
		"PK\x03\x04xxxx":                     "save it as CSV",
		"a;b\n1;2\n":                         "name the columns",
		"case;room\nK-1;OR\n":                "line 1: there is no column with the start",
		"case;start\n;2026-03-04 07:00":      "line 2: the case's reference is missing",
		"case;start\nK-1;\n":                 "line 2: the case has no start",
		"case;start\nK-1;DOE\n":              "line 2: start: this is no day with a time",
		"case;start\nK-1;3/4/2026 7:00\n":    "--days mdy or dmy",
		"case;start\nK-1;2026-03-29 02:30\n": "the clocks of the site go forward",
		"case;start;state\nK-1;x;DOE\n":      "line 2: the word for the state",
		"case;start;lists\nK;2026-03-04 07:00;DOE x99": "from 1 to 50",
		"case;start;lists\nK;2026-03-04 07:00;DOE 4":   "without its list",
		"case;start\n":  "no case in it",
		"MSH|":          "cut off",
		"MSH|^^\\&|a":   "can be none",
		"MSH|^~\x80&|a": "can be none",
		"MSH|^~ &|a":    "can be none",
		"MSH|^~\\a|a":   "can be none",
		"case;start;lists\nK;2026-03-04 07:00;L x51":                              "from 1 to 50",
		"case;start;lists\nK;2026-03-04 07:00;L x0":                               "from 1 to 50",
		siu("S12", "PID|1||DOE"):                                                  "line 1: the message has no SCH",
		siu("S12", "SCH|||DOE"):                                                   "neither SCH-2 nor SCH-1",
		siu("S12", "SCH|K-1|"):                                                    "the case has no start",
		siu("S12", "SCH|K-1|", "AIS|1||x|DOE"):                                    "AIS-4: this is no day",
		siu("S12", "SCH|K-1|", "AIS|1||x|202603040700+1"):                         "the zone is written",
		siu("S12", "SCH|K-1|", "AIG|1||x|||0"):                                    "from 1 to 50",
		siu("S12", "SCH|K-1|", "AIG|1||x|||2.5"):                                  "from 1 to 50",
		siu("S12", "SCH|K-1|", "AIG|1||x|||51"):                                   "from 1 to 50",
		"MSH":                                                                     "name the columns",
		siu("S12", "SCH|K-1|", "AIG|1||x|||DOE"):                                  "AIG-6",
		"{DOE":                                                                    "no JSON",
		`{"resourceType":"Patient","id":"DOE"}`:                                   "no Appointment",
		`{"resourceType":"Appointment","status":"booked"}`:                        "neither an identifier nor an id",
		`{"resourceType":"Appointment","id":"K","status":"booked"}`:               "no start",
		`{"resourceType":"Appointment","id":"K","status":"booked","start":"DOE"}`: "no instant",
		`{"resourceType":"Appointment","id":["DOE"]}`:                             "as FHIR R4 writes it",
	} {
		got := schedule.Parse([]byte(in), how(t))
		said := fmt.Sprint(got.Problems)
		if len(got.Problems) != 1 || len(got.Entries) > 0 || !strings.Contains(said, want) || strings.Contains(said, "DOE") {
			t.Errorf("%q: %s; want %q, and no value", in, said, want)
		}
	}
}

// patient is what must be nowhere, in each form of a schedule, in fields that are a patient's.
const patient = "ZQXPATIENT"

// withPatient are schedules with a patient in each field that the forms have for one.
func withPatient() map[string]string {
	return map[string]string{
		"table": "case;room;start;patient;born;phone;procedure\nK-1;OR 3;2026-03-04 07:30;" + strings.Repeat(patient+";", 4),
		"messages": siu("S12", "SCH|P-1|K-0412|||||"+patient+"||||^^^202603040700||||||"+patient+"||||"+patient,
			"NTE|1||"+patient, "PID|1||"+patient+"||"+patient+"^"+patient+"||"+patient, "PD1||"+patient, "NK1|1|"+patient,
			"PV1|1|O|"+patient, "PV2||"+patient, "OBX|1|TX|"+patient+"||"+patient, "DG1|1||"+patient, "RGS|1",
			"AIS|1|A|^"+patient+"|20260304073000", "NTE|1||"+patient, "AIG|1|A|^"+patient+"|^"+patient,
			"AIL|1|A|OR^3^^"+patient+"|^"+patient,
			"AIP|1|A|"+patient),
		"appointment": `{"resourceType":"Appointment","id":"K-1","status":"booked","start":"2026-03-04T07:30:00Z","comment":"` + patient +
			`","description":"` + patient + `","text":{"div":"` + patient + `"},"reasonReference":[{"display":"` + patient + `"}],
			"contained":[{"resourceType":"Patient","id":"p","name":[{"text":"` + patient + `"}]}],
			"participant":[{"actor":{"reference":"Patient/` + patient + `","display":"` + patient + `"}},
			{"actor":{"reference":"#p","type":"Patient","identifier":{"value":"` + patient + `"}}},{"actor":{"display":"` + patient + `"}},
			{"actor":{"reference":"RelatedPerson/` + patient + `"}},{"actor":{"reference":"Location/3"}}]}`,
	}
}

// TestNoPatient: nothing that is returned has anything of a patient.
func TestNoPatient(t *testing.T) {
	for name, in := range withPatient() {
		got := schedule.Parse([]byte(in), how(t))
		if len(got.Entries) != 1 || len(got.Problems) > 0 {
			t.Errorf("%s: %+v", name, got)
		}
		if said := fmt.Sprintf("%+v", got); strings.Contains(said, patient) {
			t.Errorf("%s: %s", name, said)
		}
	}
}

// FuzzParse: no file makes the reader panic, and each entry is one that can be recorded.
func FuzzParse(f *testing.F) {
	for _, name := range []string{"s12.hl7", "s14.hl7", "appointment-example.json"} {
		f.Add(published(f, name))
	}
	for _, in := range withPatient() {
		f.Add([]byte(in))
	}
	f.Add([]byte("case;room;start;lists;state\nK-1;OR 3;2026-03-04 07:30;LAP x2;booked\n"))
	h := how(f)
	f.Fuzz(func(t *testing.T, raw []byte) {
		got := schedule.Parse(raw, h)
		for _, e := range got.Entries {
			if e.Case == "" || e.Start.IsZero() && e.State != schedule.Cancelled || len([]rune(e.Room)) > 40 || e.Row < 1 {
				t.Errorf("%+v", e)
			}
			for _, w := range e.Wanted {
				if len(w.IDs) == 0 || w.Count < 1 || w.Count > 50 {
					t.Errorf("%+v", w)
				}
			}
		}
	})
}

// TestOfTheFile: what is wrong with a file as a whole names no line.
func TestOfTheFile(t *testing.T) {
	spaces := strings.Repeat(" ", schedule.MaxBytes)
	for in, want := range map[string]string{spaces: "is empty", spaces + " ": "16777217 bytes; it has up to 16777216"} {
		if got := schedule.Parse([]byte(in), how(t)); len(got.Problems) != 1 || !strings.Contains(got.Problems[0].What, want) {
			t.Errorf("%d spaces: %+v", len(in), got.Problems)
		}
	}
	for _, in := range []string{"", "a;b\n1;2\n", "PK\x03\x04xxxx", "case;start\n", `{"resourceType":"Patient"}`, "{"} {
		if got := schedule.Parse([]byte(in), how(t)); len(got.Problems) != 1 || got.Problems[0].Row != 0 {
			t.Errorf("%q: %+v", in, got.Problems)
		}
	}
}

// TestHowMany: a number stands before its list or after it, with or without an x.
func TestHowMany(t *testing.T) {
	for said, want := range map[string]string{
		"LAP x 2":         "[list LAP x2 false]",
		"LAP x2 VAS":      "[list LAP x2 false][list VAS x1 false]",
		"2 x LAP + VAS":   "[list LAP x2 false][list VAS x1 false]",
		"2x LAP | VAS":    "[list LAP x2 false][list VAS x1 false]",
		"LAP ×2, 3 VAS":   "[list LAP x2 false][list VAS x3 false]",
		"x LAP":           "[list LAP x1 false]",
		"x 2 LAP":         "[list LAP x2 false]",
		"LAP x 50":        "[list LAP x50 false]",
		"LAP x 1":         "[list LAP x1 false]",
		"LAP 10000 x 3 V": "[list LAP x1 false][list 10000 x3 false][list V x1 false]", // as long is no number but an id
	} {
		check(t, schedule.Parse([]byte("case;start;lists\nK;2026-03-04 07:00;"+said+"\n"), how(t)),
			[]string{"2 K||2026-03-04T06:00:00Z||" + want + "|-"}, 0)
	}
}

// TestStamps: HL7 v2.5.1, 2.A.75: seconds, their parts and the zone may be left out, nothing else may.
func TestStamps(t *testing.T) {
	for stamp, want := range map[string]string{
		"202603040730": "06:30:00", "20260304073015": "06:30:15", "20260304073015.25": "06:30:15", "202603040730-0500": "12:30:00",
		"20260304073015.2+0000": "07:30:15", "20260304073": "", "2026030407": "", "20260304073000,5": "", "2026030407300": "",
	} {
		got := schedule.Parse([]byte(siu("S12", "SCH|K-1|", "AIS|1||x|"+stamp)), how(t))
		if want == "" && len(got.Problems) == 1 && len(got.Entries) == 0 {
			continue
		}
		if want == "" || len(got.Entries) != 1 || got.Entries[0].Start.UTC().Format(time.TimeOnly) != want {
			t.Errorf("%s: %+v", stamp, got)
		}
	}
}

// TestSeparators: any sign but a letter, a digit or a line between words separates fields, as MSH names it.
func TestSeparators(t *testing.T) {
	plain := siu("S12", "SCH|K-1||||||||||^^^202603040700", "AIL|1|A|OR\\X20\\3\\X1F\\")
	want := schedule.Parse([]byte(plain), how(t))
	if len(want.Entries) != 1 || want.Entries[0].Room != "OR 3" {
		t.Fatalf("%+v", want)
	}
	for _, c := range "[{`@:/#!" {
		if got := schedule.Parse([]byte(strings.ReplaceAll(plain, "|", string(c))), how(t)); !reflect.DeepEqual(got, want) {
			t.Errorf("%c: %+v", c, got)
		}
	}
	for _, c := range "azAZ09_" { // a heading, say
		if got := schedule.Parse([]byte(strings.ReplaceAll(plain, "|", string(c))), how(t)); len(got.Entries) != 0 ||
			!strings.Contains(fmt.Sprint(got.Problems), "name the columns") {
			t.Errorf("%c: %+v", c, got)
		}
	}
	if got := schedule.Parse([]byte("MSH|^~\\&"), how(t)); got.Passed != 1 || len(got.Problems) != 0 {
		t.Errorf("a message of nothing else: %+v", got)
	}
}

// TestMost: of more cases than a schedule may have it is said once, and they are not read.
func TestMost(t *testing.T) {
	const most = 5000
	for more := range 3 {
		in := "case;start\n" + strings.Repeat("K;2026-03-04 07:00\n", most+more)
		got := schedule.Parse([]byte(in), how(t))
		if len(got.Entries) != most || len(got.Problems) != min(more, 1) || more > 0 && got.Problems[0].Row != 0 {
			t.Errorf("%d more: %d cases, %v", more, len(got.Entries), got.Problems)
		}
	}
	for above, entries := range map[int]int{39: 1, 40: 0} { // rows above the headings
		in := strings.Repeat("x;y\n", above) + "case;start\nK;2026-03-04 07:00\n"
		if got := schedule.Parse([]byte(in), how(t)); len(got.Entries) != entries {
			t.Errorf("%d above: %+v", above, got)
		}
	}
}

// TestHeadings: columns stand where most of them are named, whatever separates them.
func TestHeadings(t *testing.T) {
	for _, in := range []string{
		"case;a;b\ncase,start,room\nK,2026-03-04 07:00,OR 3\n",
		"case,a\ncase;start;room\nK;2026-03-04 07:00;OR 3\n",
		"case\ta\ncase\tstart\troom\nK\t2026-03-04 07:00\tOR 3\n",
	} {
		check(t, schedule.Parse([]byte(in), how(t)), []string{"3 K|OR 3|2026-03-04T06:00:00Z||nothing said|-"}, 0)
	}
	// They are looked for among a row's first thousand cells.
	for _, cells := range []int{999, 1000} {
		row := strings.Repeat(";", cells)
		got := schedule.Parse([]byte(row+"case\n"+row+"K\n"), how(t))
		if seen := len(got.Problems) > 0 && got.Problems[0].Key != "no-case-column"; seen != (cells < 1000) {
			t.Errorf("behind %d cells: %+v", cells, got)
		}
	}
}

// TestRooms: a room's name is cut after 40 characters; a row that is cut off says nothing of the columns behind.
func TestRooms(t *testing.T) {
	long := strings.Repeat("ä", 40)
	for name, want := range map[string]string{long: long, long + "b": long, " OR  3 ": "OR 3", "": ""} {
		got := schedule.Parse([]byte("case;start;room;lists\nK;2026-03-04 07:00;"+name+"\n"), how(t))
		if len(got.Entries) != 1 || got.Entries[0].Room != want {
			t.Errorf("%q: %+v", name, got)
		}
	}
	check(t, schedule.Parse([]byte(siu("S12", "SCH|K-1|", "AIL|1|A|OR^3|||20260304073000")), how(t)),
		[]string{"1 K-1|3|2026-03-04T06:30:00Z|booked|nothing said|2026-03-03T15:00:00Z"}, 0)
}

// TestReferences: what a resource contains is named for it alone, and what else it refers to may be a device too.
func TestReferences(t *testing.T) {
	check(t, schedule.Parse([]byte(`{"resourceType":"Bundle","entry":[
		{"resource":{"resourceType":"Appointment","id":"K-1","status":"booked","start":"2026-03-04T07:30:00Z","contained":[
			{"resourceType":"Location","id":"l","name":"OR 4"}],"participant":[{"actor":{"reference":"#l"}}]}},
		{"resource":{"resourceType":"Appointment","id":"K-2","status":"booked","start":"2026-03-04T07:30:00Z",
			"supportingInformation":[{"reference":"Device/LAP"}],"participant":[{"actor":{"reference":"#l"}}]}}]}`), how(t)), []string{
		"1 K-1|OR 4|2026-03-04T07:30:00Z||nothing said|-",
		"2 K-2||2026-03-04T07:30:00Z||[ LAP x1 true]|-",
	}, 0)
	got := schedule.Parse([]byte(`{"resourceType":"Bundle","entry":5}`), how(t))
	if len(got.Problems) != 2 || !strings.Contains(got.Problems[0].What, "Bundle") || got.Problems[0].Row != 0 {
		t.Errorf("%+v", got.Problems)
	}
}

// TestEscapes: HL7 v2.5.1, 2.7; one that isn't closed is text.
func TestEscapes(t *testing.T) {
	for text, want := range map[string]string{
		`OR\T\3`: "OR&3", `OR\F\3`: "OR|3", `OR\S\3`: "OR^3", `OR\R\3`: "OR~3", `OR\E\3`: `OR\3`, `OR\3`: `OR\3`, `\T\OR\T`: `&OR\T`,
		`OR\X4\3`: "OR3", `OR\X4G\3`: "OR3", `OR\X4142\3`: "ORAB3", `OR\XFF\3`: "OR3", `\H\OR\N\ 3`: "OR 3",
	} {
		got := schedule.Parse([]byte(siu("S12", "SCH|K-1||||||||||^^^202603040700", "AIL|1|A|"+text)), how(t))
		if len(got.Entries) != 1 || got.Entries[0].Room != want {
			t.Errorf("%s: %+v", text, got)
		}
	}
}
