package projections

import "testing"

// TestNearMiss: what was put right before use, and nothing else that is noted.
func TestNearMiss(t *testing.T) {
	at := new(Moment)
	for _, tt := range []struct {
		f    Finding
		want bool
	}{
		{Finding{Severity: SeverityNoted, Detail: &AnotherSetsSheet{Righted: at}}, true},
		{Finding{Severity: SeverityNoted, Detail: &UnderAnotherName{Righted: at}}, true},
		{Finding{Severity: SeverityBroken, Detail: &AnotherSetsSheet{Righted: at}}, false},
		{Finding{Severity: SeverityNoted, Detail: &AnotherSetsSheet{}}, false},
		{Finding{Severity: SeverityNoted, Detail: &PackedAgain{}}, false},
		{Finding{Severity: SeverityNoted}, false},
	} {
		if got := NearMiss(&tt.f); got != tt.want {
			t.Errorf("%T %s: %t", tt.f.Detail, tt.f.Severity, got)
		}
	}
	v := Verdict{Findings: []Finding{{Severity: SeverityNoted, Detail: &PackedAgain{}}, {Severity: SeverityNoted,
		Detail: &Moved{Righted: at}}}}
	if got := NearMisses(v); len(got.Findings) != 1 || got.Findings[0].Detail != v.Findings[1].Detail || len(v.Findings) != 2 {
		t.Errorf("%+v of %+v", got, v)
	}
}
