package judge

import (
	"listbound/projections"
	"listbound/projections/facts"
	"slices"
)

func sealRules() []Rule {
	return []Rule{
		{"seals", []projections.Code{projections.SealDiffers}, (*judgement).seals},
	}
}

// seals compares the seal numbers read with those recorded.
func (j *judgement) seals() {
	for i := range j.c.Readings {
		r := &j.c.Readings[i]
		if !r.SealBroken && len(r.Seals) == 0 {
			continue
		}
		var want []string
		if s := facts.SealOf(r.Seal); s != nil {
			want = s.Seals
		}
		var gone, strange []string
		if len(r.Seals) > 0 { // none given: nobody read them
			gone, strange = lacking(want, r.Seals), lacking(r.Seals, want)
		}
		if !r.SealBroken && len(gone) == 0 && len(strange) == 0 {
			continue
		}
		// Other numbers may be a slip in reading them; a broken seal is a fact.
		sev := projections.SeverityDoubtful
		if r.SealBroken {
			sev = projections.SeverityBroken
		}
		f := j.add(projections.SealDiffers, sev, &projections.SealsDiffer{
			Set: j.c.Key.Set, At: moment(r.It), Broken: r.SealBroken, Gone: gone, Strange: strange,
		}, r.It, r.Seal)
		f.To = r.It.At()
		if r.Seal != nil {
			f.From = r.Seal.At()
		}
	}
}

// lacking returns what of a is not in b.
func lacking(a, b []string) []string {
	var out []string
	for _, s := range a {
		if !slices.Contains(b, s) {
			out = append(out, s)
		}
	}
	return out
}
