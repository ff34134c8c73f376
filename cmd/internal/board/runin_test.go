//go:build !race

package board_test

import (
	"fmt"
	"html"
	"net/http"
	"net/http/httptest"
	"net/url"
	"regexp"
	"strings"
	"testing"
	"time"

	"golang.org/x/text/encoding/charmap"

	"listbound/cmd/internal/site"
	"listbound/cmd/internal/sitetest"
	"listbound/events"
	"listbound/projections/run"
)

// handIn sends the form of a load's runs, as a browser does.
func handIn(t *testing.T, srv *httptest.Server, lang, file string, fields url.Values) (int, string) {
	t.Helper()
	code, said := postFile(t, srv.URL+"/run?lang="+lang, "log.csv", file, fields)
	return code, html.UnescapeString(said)
}

// germanLog is one as a printer's software writes it: a title, Windows-1252, semicolons, decimal commas, bar above the
// atmosphere's, a clock that is two minutes ahead.
func germanLog(t *testing.T, started time.Time) string {
	t.Helper()
	var b strings.Builder
	b.WriteString("Sterilisator;S2\nCharge;7\n\nZeit;T1 °C;Druck barü\n")
	for i := range 900 {
		c := min(135, 60+float64(i)/3)
		p := run.PressureOf(c)
		if i > 480 {
			c, p = 100-float64(i-480)/20, 8
		}
		row := fmt.Sprintf("%s;%.2f;%.4f\n", started.Add(time.Duration(i+120)*time.Second).Format("02.01.2006 15:04:05"), c, p/100-0.972)
		b.WriteString(strings.ReplaceAll(row, ".", ","))
	}
	text := regexp.MustCompile(`(\d\d),(\d\d),(\d{4}) `).ReplaceAllString(b.String(), "$1.$2.$3 ")
	raw, err := charmap.Windows1252.NewEncoder().String(text)
	if err != nil {
		t.Fatal(err)
	}
	return raw
}

var inForm = regexp.MustCompile(`name="(log|shown)" value="([0-9a-f]{64})"`)

// carried adds what a page's form carries on.
func carried(page string, fields url.Values) url.Values {
	out := url.Values{}
	for k, v := range fields {
		out[k] = v
	}
	for _, m := range inForm.FindAllStringSubmatch(page, -1) {
		out.Set(m[1], m[2])
	}
	return out
}

// TestRunByThePage: a log is looked at, refused with line and reason in the page's language, read as it is said, recorded once
// it was shown, and taken back; the next of the sterilizer is read as this one was.
func TestRunByThePage(t *testing.T) {
	s := sitetest.Open(t, site.Options{Dir: t.TempDir(), Name: "north", EnrolOnSight: true, Clock: func() time.Time { return friday }})
	srv, err := serve(s)
	if err != nil {
		t.Fatal(err)
	}
	defer srv.Close()
	started := friday.Add(-3 * time.Hour).Truncate(time.Second)
	log := germanLog(t, started)
	said := func(lang, file string, code int, fields url.Values, wants ...string) string {
		t.Helper()
		got, body := handIn(t, srv, lang, file, fields)
		for _, want := range wants {
			if got != code || !strings.Contains(body, want) {
				t.Fatalf("%d, wanted %d with %q in %.3000s", got, code, want, body[strings.Index(body, `id="take"`):])
			}
		}
		return body
	}
	load := url.Values{"load": {"S2-9"}, "cycle": {"csc-134"}}
	said("en", log, http.StatusUnprocessableEntity, load, "In which sterilizer was S2-9?")
	load.Set("sterilizer", "S2")
	said("de", "", http.StatusBadRequest, load, "Wählen Sie zuerst die Datei")
	bad := "Time,T1\n2026-03-06 07:00:00,20\n2026-03-06 07:00,20\nx,20\n" + strings.Repeat("2026-03-06 07:00:01,20\n", 9)
	said("en", bad, http.StatusBadRequest, load, "Line 3: the time “2026-03-06 07:00” is not like 2006-01-02 15:04:05",
		"Line 4: the time “x”")
	said("de", bad, http.StatusBadRequest, load, "Zeile 4: die Zeit „x“ ist nicht wie", "Nichts wurde aufgezeichnet")
	first := said("en", log, http.StatusOK, load, "Not recorded yet", `value="T1 °C" checked`, `<option selected>bar`,
		"DD.MM.YYYY hh:mm:ss", "<svg class=\"picture\"")
	how := carried(first, url.Values{"load": {"S2-9"}, "sterilizer": {"S2"}, "cycle": {"csc-134"}, "time": {"Zeit"},
		"clock": {"DD.MM.YYYY hh:mm:ss"}, "zone": {"UTC"}, "temperature": {"T1 °C"}, "temperature-unit": {"C"}, "pressure": {"Druck barü"},
		"pressure-unit": {"bar"}, "gauge": {"yes"}, "comma": {"yes"}, "barometer": {"97.2"}, "ahead": {"120"}})
	how.Set("record", "1")
	how.Set("badge", "B-2044")
	again := said("en", "", http.StatusConflict, how, "not what was shown before")
	how = carried(again, how)
	if rs, err := s.Runs(t.Context(), site.RunsQuery{Load: "S2-9"}); err != nil || len(rs) != 0 {
		t.Fatal("recorded before it was shown", rs, err)
	}
	said("en", "", http.StatusOK, how, "Recorded (record")
	rs, err := s.Runs(t.Context(), site.RunsQuery{Load: "S2-9"})
	if err != nil || len(rs) != 1 {
		t.Fatal(rs, err)
	}
	d := rs[0].Said
	if d.Started != started.Format(time.RFC3339) || d.Log != digest([]byte(log)) || d.Figures.HoldMillis < 180_000 ||
		max(-d.Figures.SteamLowMilliK, d.Figures.SteamHighMilliK) > 20 || rs[0].Operator != "B-2044" || len(rs[0].Lacks) != 0 {
		t.Errorf("%+v lacks %v", d, rs[0].Lacks)
	}
	// The next is read the same way, without a word.
	said("de", log, http.StatusOK, url.Values{"load": {"S2-10"}, "sterilizer": {"S2"}},
		`name="ahead" inputmode="numeric" maxlength="7" value="120"`, "csc-134, wie beim letzten", "Das würde aufgezeichnet")
	takeBackRun(t, srv, rs[0].ID)
	if rs, err = s.Runs(t.Context(), site.RunsQuery{Load: "S2-9"}); err != nil || len(rs) != 0 {
		t.Errorf("taken back, and in force: %v, %v", rs, err)
	}
}

// TestLogOfAnotherRun: a log that begins at quite another time than its load was started is said to, before it is recorded.
func TestLogOfAnotherRun(t *testing.T) {
	s := sitetest.Open(t, site.Options{Dir: t.TempDir(), Name: "north", EnrolOnSight: true, Clock: func() time.Time { return friday }})
	srv := served(t, s)
	started := friday.Add(-3 * time.Hour).Truncate(time.Second)
	log := germanLog(t, started)
	for load, late := range map[string]time.Duration{"S2-7": 0, "S2-8": 20 * time.Minute, "S2-9": 90 * time.Minute} {
		_, err := s.Observe(t.Context(), &events.Observation{Station: "north/sterilizer-1", Kind: events.KindSetSterilized, Set: "SET-1",
			Operator: "B-1", Time: started.Add(2 * time.Hour), Data: &events.SetSterilized{Load: load, Sterilizer: "S2", Run: 1,
				Cycle: "porous", Result: "passed", Released: true, Started: started.Add(late).Format(time.RFC3339)}})
		if err != nil {
			t.Fatal(err)
		}
		for lang, says := range map[string]string{"en": "Is it this load’s log", "de": "Ist es das Protokoll dieser Charge"} {
			form := url.Values{"load": {load}, "cycle": {"csc-134"}, "time": {"Zeit"}, "clock": {"DD.MM.YYYY hh:mm:ss"}, "zone": {"UTC"},
				"temperature": {"T1 °C"}, "temperature-unit": {"C"}, "pressure": {"Druck barü"}, "pressure-unit": {"bar"}, "gauge": {"yes"},
				"comma": {"yes"}, "barometer": {"97.2"}, "ahead": {"120"}}
			code, body := handIn(t, srv, lang, log, form)
			if code != http.StatusOK || !strings.Contains(body, "csc-134") || strings.Contains(body, says) != (late > time.Hour) {
				t.Errorf("%s, %s late, in %s: %d, said %t", load, late, lang, code, strings.Contains(body, says))
			}
		}
	}
}

func takeBackRun(t *testing.T, srv *httptest.Server, id string) {
	t.Helper()
	res, err := http.PostForm(srv.URL+"/correct", url.Values{"event": {id}, "badge": {"B-2044"}, "reason": {"another load's"}})
	if code, _, said := answered(t, res, err); code != http.StatusOK || !strings.Contains(said, "S2-9") {
		t.Errorf("%d: %s", code, said)
	}
}

// TestPrintByThePage: what is typed off a print is shown, and recorded without a log.
func TestPrintByThePage(t *testing.T) {
	s := sitetest.Open(t, site.Options{Dir: t.TempDir(), Name: "north", EnrolOnSight: true, Clock: func() time.Time { return friday }})
	srv, err := serve(s)
	if err != nil {
		t.Fatal(err)
	}
	defer srv.Close()
	in := url.Values{"load": {"S1-3"}, "sterilizer": {"S1"}, "cycle": {"csc-134"}, "typed": {"1"}, "typed-held": {"2:50"},
		"typed-min": {"134,2"}, "typed-max": {"135.1"}, "typed-drying": {"20m"}, "started": {"2026-03-06 08:00"}, "badge": {"B-2044"}}
	for _, x := range []struct{ name, value, want string }{
		{"typed-held", "soon", "“soon” is no duration"}, {"typed-held", "", "Type at least how long"},
		{"started", "", "when the run was started"},
		{"cycle", "", "which cycle"}, {"typed-max", "100", "maxMilliC"},
	} {
		wrong := carried("", in)
		if wrong.Set(x.name, x.value); x.value == "" {
			wrong.Del(x.name)
		}
		if code, body := handIn(t, srv, "en", "", wrong); code < 400 || code > 499 || !strings.Contains(body, x.want) {
			t.Errorf("%s=%s: %d without %q", x.name, x.value, code, x.want)
		}
	}
	_, shown := handIn(t, srv, "en", "", in)
	in = carried(shown, in)
	in.Set("record", "1")
	if code, body := handIn(t, srv, "en", "", in); code != http.StatusOK || !strings.Contains(body, "cycle was NOT met") {
		t.Errorf("%d", code)
	}
	rs, err := s.Runs(t.Context(), site.RunsQuery{Load: "S1-3"})
	if err != nil || len(rs) != 1 || rs[0].Said.Log != "" || rs[0].Said.Figures.HoldMillis != 170_000 ||
		rs[0].Said.Figures.MinMilliC != 134_200 || rs[0].Said.Figures.DryingMillis != 1_200_000 {
		t.Fatalf("%+v, %v", rs, err)
	}
}
