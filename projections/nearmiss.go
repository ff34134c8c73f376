package projections

import "reflect"

// NearMiss reports whether a finding tells of a near miss: something was wrong,
// somebody saw it, and it was put right before the set was used. Such findings are
// noted, and their details say when it was put right (Righted).
func NearMiss(f *Finding) bool {
	if f.Severity != SeverityNoted || f.Detail == nil {
		return false
	}
	righted := reflect.Indirect(reflect.ValueOf(f.Detail)).FieldByName("Righted")
	return righted.IsValid() && !righted.IsNil()
}

// NearMisses returns a verdict with its near misses as its only findings.
func NearMisses(v Verdict) Verdict {
	all := v.Findings
	v.Findings = nil
	for i := range all {
		if NearMiss(&all[i]) {
			v.Findings = append(v.Findings, all[i])
		}
	}
	return v
}
