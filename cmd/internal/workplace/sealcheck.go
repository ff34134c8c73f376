package workplace

import "listbound/events"

// check holds a printed sheet against the set it was just printed for. Another one is STOP until somebody says where it lay.
func (b *sealing) check(v *visit, code string) (said, error) {
	if b.Done != nil && b.Done.Code == code {
		s := good(v.t("sheet-belongs", b.Done.Set), v.t("print-checked"))
		if b.waits() != "" { // what is asked of that set comes first
			s = said{Aside: s.Words + ". " + s.More, Sound: s.Sound}
		}
		return b.goOn(v, s)
	}
	s, owner, err := v.sheetRead(code)
	switch {
	case err != nil:
		return said{}, err
	case b.Done != nil && b.Done.Set != "":
		b.Stray = &stray{Code: code, Set: b.Done.Set, At: v.now.UTC()}
		return said{}, nil
	case owner != "": // it is held against nothing
		s.Status, s.Sound = "open", "ask"
	}
	return s, nil
}

// sheetRead says whose sheet was scanned.
func (v *visit) sheetRead(code string) (s said, owner string, err error) {
	k, where, since, err := v.sheetOwner(code)
	switch {
	case err != nil:
		return said{}, "", err
	case k.Set == "":
		return wrong(v.t("sheet-of-nobody"), v.t("sheet-of-nobody-next")), "", nil
	}
	return wrong(v.t("sheet-of", k.Set), v.nowAt(k.Set, where, since)), k.Set, nil
}

// unlessStray is a scan or an action that means nothing before it is said where another sheet lay.
func unlessStray[In any](f func(*sealing, *visit, In) (said, error)) func(*sealing, *visit, In) (said, error) {
	return func(b *sealing, v *visit, in In) (said, error) {
		if b.Stray != nil {
			return said{Sound: "low"}, nil
		}
		return f(b, v, in)
	}
}

// askStray asks where the other sheet lay. Whoever reads it has seen that two sheets were exchanged, or that one is too many.
func (b *sealing) askStray(v *visit) (said, error) {
	s, owner, err := v.sheetRead(b.Stray.Code)
	if owner == b.Stray.Set {
		s = wrong(v.t("sheet-older", owner), v.t("print-again"))
	}
	if s.Next = v.t("sheet-lay-where", b.Stray.Set); b.Operator == "" { // whoever read it may be gone
		s.Next = v.t("scan-badge") + ". " + s.Next
	}
	// A bare code in a button's value would be taken for a scan.
	none := choice{Do: "sheet-none", Value: strayValue(b.Stray, b.Stray.Set, ""), Words: v.t("sheet-none")}
	return s.offer(append(strayAnswers(v, b.Stray), none)...), err
}

// strayNone answers that the sheet does not lie here: nothing of it is recorded.
func (b *sealing) strayNone(_ *visit, f fields) (said, error) {
	if b.Stray != nil && f["value"] == strayValue(b.Stray, b.Stray.Set, "") {
		b.Stray = nil
	}
	return said{}, nil
}

// askedStray reports whether it is asked where another sheet lay: then no input is taken back, or the STOP would be.
func (b *sealing) askedStray() bool { return b.Stray != nil }

// strayLay records the reading as of when it was made, so that the set whose sheet it is comes into doubt. The printed one is
// still asked for.
func (b *sealing) strayLay(v *visit, f fields) (said, error) {
	x := b.Stray
	if x == nil || b.Operator == "" {
		return said{Sound: "low"}, nil // it is asked on
	}
	for _, p := range places() {
		if f["value"] != strayValue(x, x.Set, string(p)) {
			continue
		}
		if x.At.IsZero() { // read with an earlier version of the program
			x.At = v.now.UTC()
		}
		o := &events.Observation{Station: v.station, Kind: events.KindSetChecked, Time: x.At, Set: x.Set, Operator: b.Operator,
			Data: &events.SetChecked{Sheet: &events.Reading{Code: x.Code, Found: string(p)}}}
		if b.Done != nil && b.Done.Set == x.Set {
			o.Trip = b.Done.Trip
		}
		s, d, err := v.recordReading(o, v.phrased("recorded-stray", x.Set))
		if err != nil {
			return said{}, err
		}
		b.Stray = nil
		if b.Done != nil { // taken back with the closing, the other set would be unsuspected
			b.Done.Seqs = append(b.Done.Seqs, d.Seqs...)
		}
		return s, nil
	}
	return said{}, nil
}
