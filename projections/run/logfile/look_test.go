package logfile_test

import (
	"fmt"
	"strings"
	"testing"

	"golang.org/x/text/encoding/charmap"

	"listbound/projections/run/logfile"
)

// TestLook: what is told of a log that nobody said anything of. All are invented, in forms that printers' software has.
func TestLook(t *testing.T) {
	german, err := charmap.Windows1252.NewEncoder().String("Sterilisator S2\nCharge;7\n\nZeit;T1 °C;Druck (mbar)\n" +
		"04.03.2026 07:24:00;63,2;1013\n04.03.2026 07:24:01;63,4;1013\n")
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range []struct{ what, raw, want string }{
		{"plain", "Time,T1,T2,P kPa\n2026-03-04 06:24:00,134.0,134.1,304.2\n",
			"row 1: Time = YYYY-MM-DD hh:mm:ss; [T1 T2] C; P kPa kPa gauge false; comma false"},
		{"German", german, "row 4: Zeit = DD.MM.YYYY hh:mm:ss; [T1 °C] C; Druck (mbar) mbar gauge false; comma true"},
		{"day apart", "Date,Time,Temp F,psig\n03/24/26,01:24:00,273.2,29.4\n",
			"row 1: Date Time = MM/DD/YY hh:mm:ss; [Temp F] F; psig psi gauge true; comma false"},
		{"the day or the month", "Time,Temp °C,inHg\n03/04/2026 01:24:00,20.1,29.9\n",
			"row 1: Time = ; [Temp °C] C; inHg inHg gauge false; comma false"},
		{"a compound gauge", "Time,Temp F,psig/in.Hg\n06:24:00,273.2,-26.4\n",
			"row 1: Time = hh:mm:ss; [Temp F] F; psig/in.Hg psi/inHg gauge true; comma false"},
		{"later rows tell", "Time,T1\n03/04/2026 01:24:00,20.1\n03/14/2026 01:24:01,20.1\n",
			"row 1: Time = MM/DD/YYYY hh:mm:ss; [T1] C;   gauge false; comma false"},
		{"no headings", "0\t20,5\n1\t20,6\n", "row 0: #1 = s; [#2] C;   gauge false; comma true"},
		{"above the atmosphere's, in German", "Zeit;T1;bar ü\n06:24:00;20;1\n",
			"row 1: Zeit = hh:mm:ss; [T1] C; bar ü bar gauge true; comma false"},
		{"minutes", "min;T1;P bar\n0;20;1\n1;20;1\n", "row 1: min = min; [T1] C; P bar bar gauge false; comma false"},
		{"a time of day", "hh;T1;Valve\n06:24:00;20;3\n", "row 1: hh = hh:mm:ss; [T1] C;   gauge false; comma false"},
	} {
		l, err := logfile.Look([]byte(x.raw))
		if err != nil {
			t.Errorf("%s: %v", x.what, err)
			continue
		}
		g := l.Guess
		got := fmt.Sprintf("row %d: %s = %s; %v %s; %s %s gauge %t; comma %t", l.Row, strings.TrimSpace(g.Date+" "+g.Time), g.Clock,
			g.Temperatures, g.TemperatureUnit, g.Pressure, g.PressureUnit, g.Gauge, g.DecimalComma)
		if got != x.want {
			t.Errorf("%s:\n%s; want\n%s", x.what, got, x.want)
		}
	}
	for _, raw := range []string{"", "x\ny\n", "a,b\nc,d\n"} {
		if l, err := logfile.Look([]byte(raw)); err == nil {
			t.Errorf("%q: %+v", raw, l)
		}
	}
}
