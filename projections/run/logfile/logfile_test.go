package logfile_test

import (
	"errors"
	"math"
	"strings"
	"testing"
	"time"

	"golang.org/x/text/encoding/charmap"

	"listbound/events"
	"listbound/projections/run"
	"listbound/projections/run/logfile"
)

var began = time.Date(2026, 3, 4, 6, 24, 0, 0, time.UTC)

func how(edit func(*events.RunReading)) *events.RunReading {
	r := &events.RunReading{Time: "Time", Clock: "YYYY-MM-DD hh:mm:ss", Zone: "UTC", Temperatures: []string{"T1"}, TemperatureUnit: "C",
		Pressure: "P", PressureUnit: "kPa", BarometerPascal: 101325}
	if edit != nil {
		edit(r)
	}
	return r
}

// TestForms: one reading of 134 C in steam, in all forms that logs have.
func TestForms(t *testing.T) {
	latin, err := charmap.Windows1252.NewEncoder().String("Zeit;T1 °C;P bar\n" +
		"04.03.2026 07:24:00;134,0;3,04199\n04.03.2026 07:24:01;134,0;3,04199\n")
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range []struct {
		what, text string
		how        *events.RunReading
	}{
		{"plain", "Time,T1,P\n2026-03-04 06:24:00,134.0,304.199\n2026-03-04 06:24:01,134,304.199\n", how(nil)},
		{"German, Windows-1252, bar", latin, how(func(r *events.RunReading) {
			r.Time, r.Clock, r.Zone, r.Temperatures = "zeit", "DD.MM.YYYY hh:mm:ss", "Europe/Berlin", []string{"T1 °C"}
			r.Pressure, r.PressureUnit, r.DecimalComma = "P bar", "bar", true
		})},
		{"title above, day apart, Fahrenheit, psi on a gauge",
			"Sterilizer S2\nCycle,270 F\n\nDate,Time,Temp F,psig\n03/04/26,01:24:00,273.2,29.4248\n03/04/26,01:24:01,273.2,29.4248\n",
			how(func(r *events.RunReading) {
				r.Date, r.Clock, r.Zone, r.Temperatures, r.TemperatureUnit = "Date", "MM/DD/YY hh:mm:ss",
					"America/New_York", []string{"Temp F"}, "F"
				r.Pressure, r.PressureUnit, r.Gauge = "psig", "psi", true
			})},
		{"no headings, seconds since the start, mbar on a mountain", "0\t134\t2207.99\n1\t134\t2207.99\n", how(func(r *events.RunReading) {
			r.Time, r.Clock, r.Temperatures, r.Pressure = "#1", "s", []string{"#2"}, "#3"
			r.PressureUnit, r.Gauge, r.BarometerPascal = "mbar", true, 83400
		})},
		{"inches of mercury, and a clock that is 90 s ahead",
			"Time,T1,inHg\n2026-03-04 06:25:30,134,59.909\n2026-03-04 06:25:31,134,59.909\n", how(func(r *events.RunReading) {
				r.Pressure, r.PressureUnit, r.Gauge, r.ClockAheadSeconds = "inHg", "inHg", true, 90
			})},
		{"minutes since the start, MPa", "Time,T1,P\n0,134,0.304199\n0.0166667,134,0.304199\n", how(func(r *events.RunReading) {
			r.Clock, r.PressureUnit = "min", "MPa"
		})},
		{"time of day by a clock that is behind", "Time,T1,P\n06:22:00,134,304.199\n06:22:01,134,304.199\n",
			how(func(r *events.RunReading) { r.Clock, r.ClockAheadSeconds = "hh:mm:ss", -120 })},
		{"time of day", "Time,T1,P\n06:24:00,134,304.199\n06:24:01,134,304.199\n",
			how(func(r *events.RunReading) { r.Clock = "hh:mm:ss" })},
		{"UTF-8 without a mark", "Time,T1 °C,P\n2026-03-04 06:24:00,134,304.199\n2026-03-04 06:24:01,134,304.199\n",
			how(func(r *events.RunReading) { r.Temperatures = []string{"T1 °C"} })},
		{"day and time apart by a comma, decimal comma",
			"Time;T1;P\n04.03.2026, 06:24:00,0;134,0;304,199\n04.03.2026, 06:24:01,0;134,0;304,199\n",
			how(func(r *events.RunReading) { r.Clock, r.DecimalComma = "DD.MM.YYYY, hh:mm:ss", true })},
		{"headings in the last row that may have them",
			strings.Repeat("x\n", 59) + "Time,T1,P\n2026-03-04 06:24:00,134,304.199\n2026-03-04 06:24:01,134,304.199\n", how(nil)},
		{"UTF-8 with a mark", "\ufeffTime,T1,P\r\n2026-03-04 06:24:00,134.0,304.199\r\n2026-03-04 06:24:01,134,304.199\r\n", how(nil)},
	} {
		l, err := logfile.Read([]byte(x.text), x.how, began)
		if err != nil || len(l.Samples) != 2 {
			t.Errorf("%s: %+v, %v", x.what, l, err)
			continue
		}
		for i, s := range l.Samples {
			at := began.Add(time.Duration(i) * time.Second)
			near := math.Abs(s.Points[0]-134) <= 1e-9 && math.Abs(run.SteamAt(s.Pressure)-134) <= 0.0005 // NaN is near nothing
			if !near || s.At.Sub(at).Abs() > 2*time.Microsecond {
				t.Errorf("%s: %+v", x.what, s)
			}
		}
	}
}

// TestCompoundGauge: one column has psi above zero and inches of mercury of vacuum below it, told apart by sign or by unit. An inch
// of mercury (32 °F) is 3.38638 kPa, a conventional one 3.386389 kPa, a pound-force per square inch 6.894757 kPa (NIST SP 811,
// appendix B.8).
func TestCompoundGauge(t *testing.T) {
	for _, x := range []struct {
		text string
		want float64 // kPa above vacuum at 101.325 kPa
	}{
		{"29.4248", 304.2019}, {"0", 101.325}, {"-26.5", 11.5857}, {"-29.92", 0.00424}, {"26.5 inHg", 11.5857}, {"26.5in. Hg", 11.5857},
		{"26.5V", 11.5857}, {"-26.5 in", 11.5857}, {"29.4248 psig", 304.2019}, {"29.4248 P", 304.2019}, {"1.0", 108.2198},
		{"-1.0", 97.9386}, {"---", math.NaN()}, {"26.5 lot", math.NaN()}, {"", math.NaN()}, {"off", math.NaN()},
	} {
		r := how(func(r *events.RunReading) { r.PressureUnit = events.CompoundGauge })
		l, err := logfile.Read([]byte("Time;T1;P\n2026-03-04 06:24:00;134;"+x.text+"\n"), r, began)
		if err != nil {
			t.Errorf("%q: %v", x.text, err)
			continue
		}
		got := l.Samples[0].Pressure
		if math.IsNaN(x.want) != math.IsNaN(got) || math.Abs(got-x.want) > 0.0005 {
			t.Errorf("%q is %.4f kPa; want %.4f", x.text, got, x.want)
		}
	}
	r := how(func(r *events.RunReading) { r.PressureUnit = events.CompoundGauge })
	if l, err := logfile.Read([]byte("Time;T1;P\n2026-03-04 06:24:00;134;-32\n"), r, began); err == nil {
		t.Errorf("a vacuum beyond the atmosphere: %+v", l)
	}
}

// TestMidnight: a clock without a day goes on past midnight, and a run that was begun the evening before was.
func TestMidnight(t *testing.T) {
	r := how(func(r *events.RunReading) { r.Clock, r.Pressure = "hh:mm:ss", "" })
	l, err := logfile.Read([]byte("Time,T1\n23:59:58,1\n23:59:59,1\n00:00:00,1\n00:00:01,1\n"), r, time.Date(2026, 3, 5,
		0, 0, 3, 0, time.UTC))
	if err != nil {
		t.Fatal(err)
	}
	for i, s := range l.Samples {
		if want := time.Date(2026, 3, 4, 23, 59, 58+i, 0, time.UTC); !s.At.Equal(want) {
			t.Errorf("%s, want %s", s.At, want)
		}
	}
}

// TestHalfADay: a time is of the day by which it is at most half a day from the one before it.
func TestHalfADay(t *testing.T) {
	r := how(func(r *events.RunReading) { r.Clock, r.Pressure = "hh:mm:ss", "" })
	for _, x := range []struct{ started, rows, want string }{
		{"04 12:00:00", "00:00:00", "04 00:00:00"},
		{"04 12:00:01", "00:00:00", "05 00:00:00"},
		{"04 00:00:00", "12:00:00", "04 12:00:00"},
		{"04 00:00:00", "12:00:01", "03 12:00:01"},
		{"04 06:24:00", "18:00:00,1\n05:00:00,1\n16:00:00", "05 16:00:00"},
	} {
		started, err := time.Parse("02 15:04:05", x.started)
		if err != nil {
			t.Fatal(err)
		}
		l, err := logfile.Read([]byte("Time,T1\n"+x.rows+",1\n"), r, started)
		if err != nil {
			t.Fatal(err)
		}
		last := l.Samples[len(l.Samples)-1]
		if got := last.At.Format("02 15:04:05"); got != x.want || !math.IsNaN(last.Pressure) {
			t.Errorf("begun %s, %s: %s, want %s; %g kPa without a column of it", x.started, x.rows, got, x.want, last.Pressure)
		}
	}
}

// TestReadings: the ends of what is taken for a reading (invented, but for the two bounds in logfile.go); NaN: not read.
func TestReadings(t *testing.T) {
	for cells, want := range map[string][2]float64{
		"1000000,-5": {1e6, -5}, "1000001,-4.9": {math.NaN(), -4.9}, "-1000000,0": {-1e6, 0}, `1"34,304`: {math.NaN(), 304},
		"NaN,Inf": {math.NaN(), math.NaN()}, `"134,2",304`: {math.NaN(), 304},
	} {
		l, err := logfile.Read([]byte("Time,T1,P\n2026-03-04 06:24:00,"+cells+"\n"), how(nil), time.Time{})
		if err != nil || len(l.Samples) != 1 {
			t.Fatal(cells, l, err)
		}
		got := [2]float64{l.Samples[0].Points[0], l.Samples[0].Pressure}
		for i := range got {
			if got[i] != want[i] && !(math.IsNaN(got[i]) && math.IsNaN(want[i])) {
				t.Errorf("%s: %g, want %g", cells, got, want)
			}
		}
	}
}

// TestNotRead: what is no number was not read, and is not left out.
func TestNotRead(t *testing.T) {
	text := "Time,T1,P\n2026-03-04 06:24:00,134,304\n2026-03-04 06:24:01,---,1e300\n2026-03-04 06:24:02\n\n2026-03-04 06:24:03,134,304\n"
	l, err := logfile.Read([]byte(text), how(nil), time.Time{})
	if err != nil || len(l.Samples) != 4 {
		t.Fatal(l, err)
	}
	for _, s := range l.Samples[1:3] {
		if !math.IsNaN(s.Points[0]) || !math.IsNaN(s.Pressure) {
			t.Errorf("%+v", s)
		}
	}
}

// TestRefused: each says what is wrong, and where.
func TestRefused(t *testing.T) {
	const row = "2026-03-04 06:24:00,134,304\n"
	for _, x := range []struct {
		text, want string
		how        *events.RunReading
	}{
		{"Time,T1\n" + row, "there is no P", how(nil)},
		{"", "there is no Time, T1, P", how(nil)},
		{"Time,T1,P\n" + row + "\n06:24,134,304\n", "row 4: the time \"06:24\" is not like", how(nil)},
		{"Time,T1,P\n2026-03-04 06:24:00,134,-98\n", "row 2: a pressure of -98.0 kPa above vacuum", how(nil)},
		{"Time,T1,P\nx,134,98\n", "row 2: the time \"x\" is no number", how(func(r *events.RunReading) { r.Clock = "s" })},
		{"Time,T1,P\n06:24:00,134,98\n", "doesn't say on which day", how(func(r *events.RunReading) { r.Clock = "hh:mm:ss" })},
		{"Time,T1,P\n", "a day without its year", how(func(r *events.RunReading) { r.Clock = "DD.MM hh:mm:ss" })},
		{"Time,T1,P\n", "the zone \"Berlin\" is not known", how(func(r *events.RunReading) { r.Zone = "Berlin" })},
		{"Time,T1,P\nx,134,98\n" + row + "y,134,98\n", "row 2: the time \"x\" is not like 2006-01-02 15:04:05 (and 1 more rows)", how(nil)},
		{"Time,T1,P\n", "clockAheadSeconds", how(func(r *events.RunReading) { r.ClockAheadSeconds = 86401 })},
		{"Time,T1,P\n", "temperatureUnit", how(func(r *events.RunReading) { r.TemperatureUnit = "K" })},
		{"Time,T1,P\n", "barometerPascal", how(func(r *events.RunReading) { r.BarometerPascal = 1013 })},
		{"Time,T1,P\n" + row, "there is no Time, T1, P", how(func(r *events.RunReading) { r.DecimalComma = true })},
		{strings.Repeat("x\n", 60) + "Time,T1,P\n" + row, "there is no Time, T1, P", how(nil)},
		{"Time,x\nT1,x\n", "there is no T1, P", how(nil)}, // of equally many that are missing those of the first row
		{"0,134\n1,134\n", "there is no #3", how(func(r *events.RunReading) {
			r.Time, r.Clock, r.Temperatures, r.Pressure = "#1", "s", []string{"#2"}, "#3"
		})},
		{"0,134\nx,134\n", "row 2: the time", how(func(r *events.RunReading) {
			r.Time, r.Clock, r.Temperatures, r.Pressure = "#1", "s", []string{"#2"}, ""
		})},
		{"Time,T1,P\n2026-03-04 06:24:00,134,-5.01\n", "row 2: a pressure of -5.0 kPa", how(nil)},
		{string(make([]byte, logfile.MaxBytes+1)), "it has up to 33554432", how(nil)},
	} {
		started := began
		if strings.Contains(x.want, "which day") {
			started = time.Time{}
		}
		l, err := logfile.Read([]byte(x.text), x.how, started)
		if err == nil || !strings.Contains(err.Error(), x.want) {
			t.Errorf("%q: %+v, %v", x.want, l, err)
			continue
		}
		atRow := strings.HasPrefix(x.want, "row")
		if e, ok := errors.AsType[*logfile.Error](err); ok && (e.Row > 0) != atRow || strings.HasPrefix(err.Error(), "row") != atRow {
			t.Errorf("%v: has a row, or none", err)
		}
	}
}

// FuzzRead: no text brings it down, and of each row with a time there is a sample.
func FuzzRead(f *testing.F) {
	seeds := []string{"Time,T1,P\n2026-03-04 06:24:00,134,304\n", "Time;T1;P\n\"2026-03-04 06:24:00;1;2\n", "#1\t\xb0\n", "\xff\xfeT\x00"}
	for _, s := range seeds {
		f.Add([]byte(s), false)
		f.Add([]byte(s), true)
	}
	f.Fuzz(func(t *testing.T, raw []byte, comma bool) {
		l, err := logfile.Read(raw, how(func(r *events.RunReading) { r.DecimalComma = comma }), began)
		if err != nil {
			return
		}
		for _, s := range l.Samples {
			if len(s.Points) != 1 || s.At.IsZero() || s.Pressure < -5 {
				t.Fatalf("%+v", s)
			}
		}
	})
}
