package projections

import (
	"strconv"
	"strings"
	"time"

	"listbound/events"
)

// german says every sentence in German, in the words of the ward and the
// sterile supply department: Sieb, Zählliste, Blatt (the list's copy that goes
// with the set), Charge, Bioindikator, Plombe, Fall. What english promises
// holds here too.
type german struct{}

const dePolicyDecides = " Die Regelung der Einrichtung entscheidet."

func deTime(t time.Time) string { return t.UTC().Format("02.01.2006 15:04 UTC") }

func deWindow(from, to time.Time) string {
	f, t := from.UTC(), to.UTC()
	if f.Format("2006-01-02") == t.Format("2006-01-02") {
		return "am " + f.Format("02.01.2006") + " zwischen " + f.Format("15:04") + " und " + t.Format("15:04 UTC")
	}
	return "zwischen " + deTime(from) + " und " + deTime(to)
}

// deWhen names the places at which a set of the chain was. Of these only a load
// has a word of ours in its name.
func deWhen(from, to time.Time, places []string, c *chain) string {
	s := "Die Blätter können " + deWindow(from, to) + " vertauscht worden sein"
	if len(places) == 0 {
		return s + "; einen Ort, an dem dann beide Siebe waren, zeigen die Aufzeichnungen nicht: wo, ist also nicht bekannt."
	}
	said := make([]string, len(places))
	for i, p := range places {
		said[i] = p
		for _, it := range c.sterilized {
			if samePlace(placeOf(it), p) {
				said[i] = deLoad(runOf(it).Load)
			}
		}
	}
	return s + ", und zwar dort, wo beide Siebe waren: " + deList(said) + "."
}

func deLoad(load string) string { return "Charge " + load }

func dePlace(it *item) string {
	if d := runOf(it); d != nil {
		return deLoad(d.Load)
	}
	return placeOf(it)
}

// deAt says where and when, to stand in brackets or after a colon: a place's
// name takes no preposition that would fit every one.
func deAt(it *item) string { return dePlace(it) + ", " + deTime(it.at()) }

func deList(s []string) string {
	switch len(s) {
	case 0:
		return ""
	case 1:
		return s[0]
	}
	return strings.Join(s[:len(s)-1], ", ") + " und " + s[len(s)-1]
}

func deNumbers(ns []int64) string {
	s := make([]string, len(ns))
	for i, n := range ns {
		s[i] = num(n)
	}
	return deList(s)
}

func deDuration(d time.Duration) string {
	d = d.Round(time.Second)
	var parts []string
	for _, u := range []struct {
		of   time.Duration
		name string
	}{{time.Hour, "Std."}, {time.Minute, "Min."}, {time.Second, "Sek."}} {
		if n := d / u.of; n > 0 {
			parts = append(parts, num(int64(n))+" "+u.name)
			d -= n * u.of
		}
	}
	if len(parts) == 0 {
		return "0 Sek."
	}
	return strings.Join(parts, " ")
}

func deLine(d *lineDiff) string {
	if d.item == "" {
		return "Zeile " + num(d.line) + " (nicht auf der Zählliste)"
	}
	return "Zeile " + num(d.line) + " (" + d.name + ")"
}

func deDiffs(ds []lineDiff) string {
	var out []string
	for i, d := range ds {
		if i == linesSaid {
			out = append(out, num(int64(len(ds)-i))+" weitere "+plural(len(ds)-i, "Zeile", "Zeilen"))
			break
		}
		out = append(out, deLine(&d)+": "+num(d.seen)+" gezählt, "+num(d.expected)+" Soll")
	}
	return strings.Join(out, "; ")
}

func deChanges(whose, theirs *events.ListIssued) string {
	if whose == nil || theirs == nil {
		return " Eine der beiden Zähllisten ist hier nicht bekannt, ihre Zeilen lassen sich nicht vergleichen."
	}
	changes := events.DiffLines(theirs.Lines, whose.Lines)
	if len(changes) == 0 {
		return " Die beiden Zähllisten sind Wort für Wort gleich: auf dem Papier ist die Verwechslung nicht zu sehen."
	}
	var out []string
	for i, c := range changes {
		if i == linesSaid {
			out = append(out, num(int64(len(changes)-i))+" weitere")
			break
		}
		switch {
		case c.Old == nil:
			out = append(out, num(c.Line)+" ("+c.New.Description+", fehlt auf diesem Blatt)")
		case c.New == nil:
			out = append(out, num(c.Line)+" ("+c.Old.Description+", steht nur auf diesem Blatt)")
		case c.Old.Item == c.New.Item && c.Old.Quantity != c.New.Quantity:
			out = append(out, num(c.Line)+" ("+c.New.Description+": "+num(c.Old.Quantity)+" auf diesem Blatt, richtig "+num(c.New.Quantity)+")")
		default:
			out = append(out, num(c.Line)+" ("+c.Old.Description+" auf diesem Blatt, richtig "+c.New.Description+")")
		}
	}
	return " Die Zähllisten unterscheiden sich in " + plural(len(changes), "Zeile ", "den Zeilen ") + strings.Join(out, ", ") + "."
}

func deHow(rs []*reading) string {
	if len(rs) < 2 {
		return ""
	}
	return " Es wurde " + strconv.Itoa(len(rs)) + " Mal gelesen, zuletzt: " + deAt(rs[len(rs)-1].it) + "."
}

func (german) sayRighted(r *reading) string {
	return " Das wurde berichtigt: das Sieb wurde mit seinem eigenen Blatt gelesen (" + deAt(r.it) + ")."
}

func (german) saySwapped(x, y *chain, rs []*reading, ring []TripKey, back *reading, from, to time.Time, places []string) string {
	r := rs[0]
	s := "Bei " + x.key.Set + " lag das Blatt von " + y.key.Set + " (" + deAt(r.it) + ")." + deHow(rs)
	if r.forged {
		s += " Sein Inhalt ist auch nicht der, der für " + y.key.Set + " beigelegt wurde."
	}
	if len(ring) > 0 {
		s += " " + deRing(ring)
	}
	if back != nil {
		s += " Das Blatt war wieder bei " + y.key.Set + " (" + deAt(back.it) + "); " + x.key.Set + " wurde seither nicht mit seinem eigenen Blatt gelesen."
	}
	return s + deChanges(x.list, y.list) + " " + deWhen(from, to, places, x)
}

func deRing(ring []TripKey) string {
	var parts []string
	for i, k := range ring {
		parts = append(parts, k.Set+" hat das Blatt von "+ring[(i+1)%len(ring)].Set)
	}
	return "Die Blätter von " + strconv.Itoa(len(ring)) + " Sieben sind untereinander vertauscht: " + strings.Join(parts, ", ") + "."
}

func (german) sayLabelToo(other string) string {
	return " Auch das Außenetikett sagt " + other + ": Etikett und Blatt liegen beim falschen Sieb."
}

func (german) nextSwapped(opened bool) string {
	if opened {
		return "Üblicherweise werden die Zählungen beider Siebe nochmals mit den richtigen Zähllisten verglichen, und das andere Sieb bleibt zu, bis sein Blatt gelesen ist." + dePolicyDecides
	}
	return "Üblicherweise bleiben beide Siebe zu, ihre Etiketten und Blätter werden nebeneinander nochmals gelesen, und jedes bekommt vor der Verwendung sein eigenes Blatt zurück." + dePolicyDecides
}

func (german) sayStale(c, old *chain, r *reading) string {
	s := "Bei " + c.key.Set + " lag ein eigenes Blatt aus einem anderen Umlauf (" + deAt(r.it) + ")."
	if p, now := old.lastPack(), c.lastPack(); p != nil {
		s = "Bei " + c.key.Set + " lag ein eigenes Blatt aus einem früheren Umlauf, gepackt " + deTime(p.at()) + " (" + deAt(r.it) + ")."
		if now != nil && now.less(p) {
			s = "Bei " + c.key.Set + " lag das Blatt eines späteren Umlaufs, gepackt " + deTime(p.at()) + " (" + deAt(r.it) + ")."
		}
	}
	if r.forged {
		s += " Sein Inhalt ist nicht der, der für jenen Umlauf beigelegt wurde."
	}
	if old.list != nil && c.list != nil && len(events.DiffLines(old.list.Lines, c.list.Lines)) == 0 {
		return s + " Zwischen beiden hat sich keine Zeile geändert."
	}
	return s + deChanges(c.list, old.list)
}

func (german) nextStale() string {
	return "Üblicherweise wird das alte Blatt entfernt und das Sieb nach der Zählliste dieses Umlaufs gezählt." + dePolicyDecides
}

func (german) sayAltered(c *chain, r *reading) string {
	s := "Bei " + c.key.Set + " lag ein Blatt für dieses Sieb und diesen Umlauf, aber mit anderem Inhalt als beigelegt (" + deAt(r.it) + ")."
	if r.replaced {
		return s + " Es ist ein früheres Blatt dieses Umlaufs, das ersetzt wurde (" + deAt(r.seal) + ")."
	}
	return s
}

func (german) nextAltered() string {
	return "Üblicherweise wird das Blatt als Beleg aufbewahrt und das Sieb nach der Zählliste am Bildschirm gezählt." + dePolicyDecides
}

func (german) sayUnknown(c *chain, r *reading) string {
	if r.unlisted {
		return "Das Blatt, das bei " + c.key.Set + " gelesen wurde (" + deAt(r.it) + "), nennt diesen Umlauf des Siebs, aber hier ist nichts aufgezeichnet, womit es verglichen werden könnte."
	}
	return "Das Blatt, das bei " + c.key.Set + " gelesen wurde (" + deAt(r.it) + "), gehört zu keinem Umlauf, der hier aufgezeichnet ist."
}

func (german) nextUnknown() string {
	return "Üblicherweise wird das Sieb nicht nach diesem Blatt verwendet; erst wird geklärt, woher es kommt." + dePolicyDecides
}

func (german) sayAbsent(c *chain, r *reading, p events.Placement, with TripKey, held *reading) string {
	s := "Bei " + c.key.Set + " war kein Blatt zu finden (" + deAt(r.it) + "), obwohl eines beigelegt wurde (" + dePlacement(p) + ")."
	if held != nil {
		s += " Es lag bei " + with.Set + " (" + deAt(held.it) + ")."
	}
	return s
}

func (german) nextAbsent() string {
	return "Üblicherweise wird das Sieb nach der Zählliste am Bildschirm gezählt und das Blatt bei den Sieben gesucht, die mit ihm gepackt wurden." + dePolicyDecides
}

func (german) sayUnreadable(c *chain, r *reading, good bool) string {
	s := "Der Code auf dem Blatt von " + c.key.Set + " war nicht lesbar (" + deAt(r.it) + ")."
	if good {
		g := c.goodBeforeUse()
		s += " Gelesen und richtig war es hier: " + deAt(g.it) + "."
	}
	return s
}

func (german) nextUnreadable() string {
	return "Üblicherweise wird der Kurzcode neben dem Symbol mit dem Bildschirm verglichen und das Blatt ersetzt." + dePolicyDecides
}

func dePlacement(p events.Placement) string {
	switch p {
	case events.InsideBag:
		return "innen im Beutel"
	case events.InsideBare:
		return "innen ohne Beutel"
	case events.Outside:
		return "außen im Halter"
	case events.Screen:
		return "am Bildschirm"
	}
	return string(p)
}

// deSealed says where a sheet was put; one on the screen was put nowhere.
func deSealed(p events.Placement) string {
	if p == events.Screen {
		return "nur am Bildschirm gezeigt"
	}
	return dePlacement(p) + " beigelegt"
}

func (german) sayMoved(c *chain, r *reading, sealed events.Placement) string {
	return "Das Blatt von " + c.key.Set + " ist das richtige, war aber an anderer Stelle: " + dePlacement(events.Placement(r.found)) + " (" + deAt(r.it) + "); es wurde " + deSealed(sealed) + "."
}

func (german) nextMoved() string {
	return "Üblicherweise wird gefragt, ob das Sieb dazwischen geöffnet oder umgepackt wurde, und Plombe und Verpackung werden angesehen." + dePolicyDecides
}

func (german) sayTrayWithSheet(k TripKey, r *reading, tray string, whose TripKey) string {
	return "Unter dem Namen " + k.Set + " wurde das Sieb mit dem Etikett " + tray + " mit dem Blatt von " + whose.Set + " gefunden (" + deAt(r.it) + "): Sieb und Blatt gehören nicht zusammen."
}

func (german) sayRecordOfOther(r *reading, tray string) string {
	return "Dies wurde für " + r.it.Event.Subject + " aufgezeichnet, aber Etikett am Sieb und Außenetikett sagen beide " + tray + " (" + deAt(r.it) + ")."
}

func (german) nextIdentity() string {
	return "Üblicherweise wird keines der beiden Siebe verwendet, bis jemand sie an Etiketten und Instrumenten auseinandergehalten hat." + dePolicyDecides
}

func (german) sayLabelSwapped(r *reading, tray, outer string) string {
	s := "Das Außenetikett sagt " + outer + ", das Etikett am Sieb sagt " + tray + " (" + deAt(r.it) + ")."
	switch {
	case r.class == readNothing || r.class == readUnreadable:
		return s + " Das Blatt wurde nicht gelesen; welches von beiden richtig ist, ist nicht bekannt."
	case r.class == readAbsent:
		return s + " Ein Blatt war nicht zu finden; welches von beiden richtig ist, ist nicht bekannt."
	case (r.class == readGood || r.class == readAltered) && r.it.Event.Subject == tray, r.owner.Set == tray:
		return s + " Das Blatt stimmt mit dem Sieb überein: das Außenetikett ist das falsche."
	}
	return s + " Das Blatt stimmt mit keinem überein."
}

func (german) sayLabelRighted(set string, r *reading) string {
	return " Das Außenetikett wurde berichtigt: es sagte " + set + " (" + deAt(r.it) + ")."
}

func (german) sayUnderOtherName(k TripKey, r *reading, x TripKey) string {
	return "Das Sieb mit dem Etikett " + k.Set + " wurde mit seinem eigenen Blatt unter dem Namen " + x.Set + " gefunden (" + deAt(r.it) + "): das Außenetikett ist das falsche."
}

func (german) nextLabel() string {
	return "Üblicherweise wird das Sieb an seinem Etikett und seinen Instrumenten erkannt und das Sieb gesucht, das auf dem Außenetikett steht." + dePolicyDecides
}

func (german) sayInDoubt(y, x *chain, bad, gone *reading, start *chain, from, to time.Time, places []string) string {
	s := "Das Blatt von " + y.key.Set + " lag bei " + x.key.Set + " (" + deAt(bad.it) + ")"
	if bad.it.kind == events.KindSetCounted {
		s = x.key.Set + " wurde nach dem Blatt von " + y.key.Set + " gezählt (" + deAt(bad.it) + ")"
	}
	s += ", und " + y.key.Set + " wurde seither nicht gelesen."
	switch {
	case start != nil:
		s += " Es trägt jetzt wahrscheinlich das Blatt von " + start.key.Set + "." + deChanges(y.list, start.list)
	case gone != nil:
		s += " Als " + x.key.Set + " wieder gelesen wurde (" + deAt(gone.it) + "), war dieses Blatt nicht mehr dort. " + y.key.Set + " trägt jetzt wahrscheinlich ein falsches Blatt oder keines."
	default:
		s += " Es trägt jetzt ein falsches Blatt oder keines."
	}
	return s + " " + deWhen(from, to, places, x)
}

func (german) nextInDoubt(opened bool) string {
	if opened {
		return "Üblicherweise werden die Zählungen dieses Siebs nochmals mit seiner richtigen Zählliste verglichen." + dePolicyDecides
	}
	return "Üblicherweise wird dieses Sieb geholt und sein Blatt gelesen, bevor jemand es öffnet." + dePolicyDecides
}

func (german) saySeals(k TripKey, r *reading, gone, strange []string) string {
	var parts []string
	if r.sealBroken {
		parts = append(parts, "eine Plombe war gebrochen")
	}
	if len(gone) > 0 {
		parts = append(parts, plural(len(gone), "die beim Beilegen aufgezeichnete Plombe ", "die beim Beilegen aufgezeichneten Plomben ")+deList(gone)+plural(len(gone), " fehlte", " fehlten"))
	}
	if len(strange) > 0 {
		parts = append(parts, plural(len(strange), "die Plombe ", "die Plomben ")+deList(strange)+plural(len(strange), " ist", " sind")+" beim Beilegen nicht aufgezeichnet")
	}
	return "An " + k.Set + ": " + strings.Join(parts, "; ") + " (" + deAt(r.it) + ")."
}

func (german) nextSeals() string {
	return "Üblicherweise werden die Nummern nochmals gelesen; weichen sie ab oder ist eine Plombe gebrochen, wird das Sieb nicht verwendet und neu aufbereitet." + dePolicyDecides
}

func deKind(k events.Kind) string {
	switch k {
	case events.KindSetPacked:
		return "Packen"
	case events.KindListSealed:
		return "Beilegen des Blatts"
	case events.KindSetSterilized:
		return "Sterilisation"
	case events.KindSetOpened:
		return "Öffnung"
	case events.KindSetCounted:
		return "Zählung"
	case events.KindCaseClosed:
		return "Abschluss des Falls"
	case events.KindSetChecked:
		return "Prüfung"
	}
	return string(k)
}

func (german) sayLinkMissing(c *chain, missing []events.Kind, by *item) string {
	names := make([]string, len(missing))
	for i, k := range missing {
		names[i] = deKind(k)
	}
	s := "Zu " + c.key.Set + " ist nicht aufgezeichnet: " + deList(names)
	if c.next != nil && len(c.opened) > 0 && c.steps[len(c.steps)-1] == by {
		return s + ". Das Sieb wurde aber am " + deTime(c.next.at()) + " neu gepackt."
	}
	return s + ". Aufgezeichnet ist aber: " + deKind(by.kind) + " (" + deTime(by.at()) + ")."
}

func (german) nextLinkMissing() string {
	return "Üblicherweise wird gefragt, ob der Schritt getan und nur nicht aufgezeichnet wurde; spät aufgezeichnet ist besser als gar nicht." + dePolicyDecides
}

func (german) sayOpenedUnread(c *chain, r *reading, p events.Placement) string {
	return c.key.Set + " wurde geöffnet, ohne dass sein Blatt gelesen wurde (" + deAt(r.it) + "); das Blatt wurde " + deSealed(p) + "."
}

func (german) nextOpenedUnread() string {
	return "Üblicherweise wird das Blatt jetzt gelesen und das Sieb danach gezählt." + dePolicyDecides
}

func (german) sayOutOfOrder(k TripKey, it, before *item) string {
	return "Bei " + k.Set + " wurde der Schritt „" + deKind(it.kind) + "“ am " + deTime(it.at()) + " beobachtet, vor dem Schritt „" + deKind(before.kind) + "“ am " + deTime(before.at()) + "."
}

func (german) nextOutOfOrder() string {
	return "Üblicherweise werden die Uhren der beiden Stationen verglichen, und ein falscher Eintrag wird mit Begründung berichtigt." + dePolicyDecides
}

func (german) sayPackedAfterRun(k TripKey, run, pack, open *item) string {
	return k.Set + " wurde am " + deTime(pack.at()) + " noch einmal gepackt, nachdem es am " + deTime(run.at()) + " in " + deLoad(runOf(run).Load) + " gewesen war, und am " + deTime(open.at()) + " ohne weiteren Lauf geöffnet: Was zuletzt gepackt wurde, war in keiner Charge."
}

func (german) sayReopened(k TripKey, a, b *item) string {
	return k.Set + " wurde für Fall " + caseOf(a.data) + " am " + deTime(a.at()) + " geöffnet und, ohne neu gepackt zu werden, für Fall " + caseOf(b.data) + " am " + deTime(b.at()) + "."
}

func (german) sayCountedOtherCase(k TripKey, open, count *item) string {
	return k.Set + " wurde für Fall " + caseOf(open.data) + " geöffnet, aber für Fall " + caseOf(count.data) + " gezählt (" + deTime(count.at()) + ")."
}

func (german) nextReopened() string {
	return "Üblicherweise wird geklärt, für welchen Fall das Sieb verwendet wurde, und der falsche Eintrag wird mit Begründung berichtigt." + dePolicyDecides
}

func (german) sayRepacked(k TripKey, next *item) string {
	return k.Set + " wurde am " + deTime(next.at()) + " neu gepackt, ohne geöffnet worden zu sein."
}

func (german) nextRepacked() string {
	return "Üblicherweise ist nur das frühere Blatt zu vernichten." + dePolicyDecides
}

func (german) sayTwoTrips(older *chain, after *item) string {
	unopened := ""
	if open := older.firstOpened(); open == nil || older.next.less(open) {
		unopened = ", ohne geöffnet worden zu sein"
	}
	return older.key.Set + " wurde am " + deTime(older.next.at()) + " neu gepackt" + unopened + "; trotzdem wurde danach zum früheren Umlauf aufgezeichnet: " + deKind(after.kind) + " (" + deAt(after) + ")."
}

func (german) sayTwoPlaces(k TripKey, a, b *item) string {
	return k.Set + " wurde hier aufgezeichnet: " + deAt(a) + ", und " + deDuration(b.at().Sub(a.at())) + " später hier: " + deAt(b) + ". Eines von beiden war ein anderes Sieb, oder eine Uhr geht falsch."
}

func (german) nextTwoPlaces() string {
	return "Üblicherweise werden die Etiketten der Siebe an beiden Orten gelesen." + dePolicyDecides
}

// deResult puts the results that the kinds allow into words.
func deResult(r string) string {
	switch r {
	case "passed", "pass":
		return "bestanden"
	case "failed", "fail":
		return "nicht bestanden"
	case "positive":
		return "positiv"
	case "negative":
		return "negativ"
	}
	return r
}

func deReleased(r bool) string {
	if r {
		return ", freigegeben"
	}
	return ", nicht freigegeben"
}

func (german) sayNotReleased(k TripKey, open, last *item) string {
	s := k.Set + " wurde geöffnet (" + deAt(open) + "), ohne dass davor eine bestandene und freigegebene Charge aufgezeichnet ist"
	if d := runOf(last); d != nil {
		return s + "; seine " + deLoad(d.Load) + ": " + deResult(d.Result) + deReleased(d.Released) + "."
	}
	return s + "."
}

func (german) sayFailedRun(k TripKey, run *item) string {
	d := runOf(run)
	return k.Set + " war in " + deLoad(d.Load) + " (" + d.Sterilizer + ", Lauf " + num(d.Run) + "), nicht bestanden am " + deTime(run.at()) + ", und seither in keiner bestandenen."
}

func (german) sayWrongCycle(k TripKey, run *item, l *events.ListIssued) string {
	d := runOf(run)
	return k.Set + " lief im Zyklus " + d.Cycle + " (" + deLoad(d.Load) + "); seine Zählliste erlaubt " + deList(l.Cycles) + "."
}

func (german) sayIndicatorFail(k TripKey, open *item) string {
	return "Der Indikator in " + k.Set + " war bei der Öffnung nicht umgeschlagen (" + deAt(open) + ")."
}

func (german) nextNotReleased() string {
	return "Üblicherweise wird das Sieb nicht verwendet und alles ersetzt, was es berührt hat." + dePolicyDecides
}

func (german) sayRecalled(k TripKey, run *item, p *readLoad, sev Severity, why string, from time.Time) string {
	d := runOf(run)
	s := "Zu " + deLoad(p.load) + " von Sterilisator " + d.Sterilizer + " wurde ein positiver Bioindikator abgelesen. "
	if p.load == d.Load {
		s += k.Set + " war in dieser Charge."
	} else {
		s += k.Set + " war in " + deLoad(d.Load) + " desselben Sterilisators, ohne negativen Bioindikator zwischen beiden."
	}
	if sev == SeverityBroken && !from.IsZero() {
		s += " Zurückgerufen ist, was seit dem letzten negativen (" + deTime(from) + ") lief."
	}
	return s + why
}

func (german) sayRepeatPositive(l *readLoad) string {
	return " Danach folgte ein weiterer positiver in " + deLoad(l.load) + "."
}

func (german) sayRepeatOf(l *readLoad) string {
	return " Davor war schon einer positiv, in " + deLoad(l.load) + "."
}

func (german) sayRepeatsNegative() string {
	return " Die drei Zyklen danach waren negativ."
}

func (german) sayRepeatsAwaited(n int) string {
	return " Von den drei Zyklen, die zu wiederholen sind, " + plural(n, "hat", "haben") + " bisher " + strconv.Itoa(n) + " ein negatives Ergebnis."
}

func (german) nextRecalled(sev Severity, opened bool) string {
	switch {
	case sev == SeverityNoted:
		return "Üblicherweise ist nichts weiter zu tun." + dePolicyDecides
	case sev == SeverityDoubtful && opened:
		return "Üblicherweise wird die Krankenhaushygiene informiert und das Ergebnis der wiederholten Zyklen abgewartet." + dePolicyDecides
	case sev == SeverityDoubtful:
		return "Üblicherweise wird das Sieb zurückgehalten, bis die wiederholten Zyklen ein Ergebnis haben." + dePolicyDecides
	case opened:
		return "Üblicherweise wird die Krankenhaushygiene informiert, und wer den Fall führt, in dem das Sieb verwendet wurde." + dePolicyDecides
	}
	return "Üblicherweise wird das Sieb zurückgeholt und neu aufbereitet." + dePolicyDecides
}

func (german) saySuperseded(k TripKey, it *item, list string, version int64, newer *item, sealed bool) string {
	n := newer.data.(*events.ListIssued)
	since := "; Version " + num(n.Version) + " war in Gebrauch seit " + deTime(newer.at()) + "."
	if sealed {
		return "Zu " + k.Set + " wurde am " + deTime(it.at()) + " ein Blatt nach Version " + num(version) + " von " + list + " beigelegt" + since
	}
	return k.Set + " wurde am " + deTime(it.at()) + " nach Version " + num(version) + " von " + list + " gepackt" + since
}

func (german) nextSuperseded() string {
	return "Üblicherweise wird das Sieb vor der Verwendung mit der geltenden Zählliste verglichen." + dePolicyDecides
}

func (german) sayListUnknown(k TripKey, it *item, p *events.SetPacked) string {
	return k.Set + " wurde am " + deTime(it.at()) + " nach Version " + num(p.Version) + " von " + p.List + " gepackt, die hier nicht aufgezeichnet ist; ihre Zeilen sind nicht bekannt."
}

func (german) nextListUnknown() string {
	return "Üblicherweise wird diese Version der Zählliste jetzt aufgezeichnet; dann können Zählungen mit ihr verglichen werden." + dePolicyDecides
}

func (german) saySealedOther(k TripKey, it *item, p *events.SetPacked, list string, version int64) string {
	return k.Set + " wurde nach Version " + num(p.Version) + " von " + p.List + " gepackt, das beigelegte Blatt (" + deAt(it) + ") ist aber Version " + num(version) + " von " + list + "."
}

func (german) saySealFalse(k TripKey, it *item, p *events.SetPacked) string {
	return "Das zu " + k.Set + " beigelegte Blatt (" + deAt(it) + ") ist nicht aus Version " + num(p.Version) + " von " + p.List + " gemacht, wie sie herausgegeben wurde, oder nicht für dieses Sieb und diesen Umlauf."
}

func (german) nextSealedOther() string {
	return "Üblicherweise wird das Blatt durch eines der Zählliste ersetzt, nach der das Sieb gepackt wurde." + dePolicyDecides
}

func deStage(s events.Stage) string {
	switch s {
	case events.StageFirst:
		return "erste Zählung"
	case events.StageAdded:
		return "Zählung hinzugefügter Teile"
	case events.StageCavity:
		return "Zählung vor Verschluss einer Höhle"
	case events.StageClosing:
		return "Zählung vor Wundverschluss"
	case events.StageFinal:
		return "letzte Zählung"
	case events.StageRelief:
		return "Zählung bei Ablösung"
	}
	return "Zählung „" + string(s) + "“"
}

func deStages(its []*item) string {
	stages := make([]string, len(its))
	for i, it := range its {
		stages[i] = deStage(countOf(it).Stage) + " (" + deTime(it.at()) + ")"
	}
	return deList(stages)
}

func (german) sayCountDiffers(k TripKey, it *item, ds []lineDiff) string {
	return "Die erste Zählung von " + k.Set + " (" + deTime(it.at()) + ") weicht von dem ab, was beim Packen aufgezeichnet wurde: " + deDiffs(ds) + "."
}

func (german) nextCountDiffers() string {
	return "Üblicherweise wird das Sieb vor der Verwendung nochmals gezählt und der Packplatz informiert." + dePolicyDecides
}

func (german) sayMiddle(k TripKey, it *item, ds []lineDiff, then sequel) string {
	s := "Die " + deStage(countOf(it).Stage) + " von " + k.Set + " (" + deTime(it.at()) + ") wich ab: " + deDiffs(ds) + "."
	switch then {
	case thenRight:
		return s + " Die letzte Zählung ergab das Soll."
	case thenDiffers:
		return s + " Die letzte Zählung weicht ebenfalls ab."
	case thenLeftOut:
		return s + " Die letzte Zählung hat " + plural(len(ds), "die Zeile", "diese Zeilen") + " ausgelassen."
	case thenLater:
		return s + " Eine spätere Zählung weicht ebenfalls ab."
	}
	return s
}

func (w german) nextMiddle(sev Severity, then sequel) string {
	switch then {
	case thenDiffers:
		return "Üblicherweise wird getan, was aus der letzten Zählung folgt." + dePolicyDecides
	case thenLater:
		return "Üblicherweise wird getan, was aus der späteren Zählung folgt." + dePolicyDecides
	}
	return w.nextCount(sev)
}

// deInStage says in which count: the stage after "in der".
func deInStage(s events.Stage) string {
	switch s {
	case events.StageFirst:
		return "ersten Zählung"
	case events.StageFinal:
		return "letzten Zählung"
	}
	return deStage(s)
}

func deEnds(k TripKey, ds []lineDiff) string {
	var parts []string
	out := 0
	for _, of := range byCount(ds) {
		it := of[0].in
		parts = append(parts, deInStage(countOf(it).Stage)+" von "+k.Set+" ("+deTime(it.at())+"): "+deDiffs(of))
		if of[0].leftOut {
			out += len(of)
		}
	}
	s := "In der " + strings.Join(parts, "; in der ") + "."
	if out > 0 {
		s += " Die letzte Zählung hat " + plural(out, "diese Zeile", "diese Zeilen") + " ausgelassen."
	}
	return s
}

func (german) sayBetweenLines(k TripKey, ds []lineDiff) string {
	return deEnds(k, ds) + " Die Zeilen betreffen denselben Artikel und ergeben zusammen das Soll."
}

func (german) sayMisplaced(k TripKey, ds []lineDiff, moves []Move) string {
	var parts []string
	for _, m := range moves {
		if m.From == k {
			parts = append(parts, num(m.Quantity)+" mehr als Soll in "+m.To.Set)
		} else {
			parts = append(parts, num(m.Quantity)+" weniger als Soll in "+m.From.Set)
		}
	}
	return deEnds(k, ds) + " Wahrscheinlich verlegt: " + deList(parts) + "."
}

func (german) sayLeft(k TripKey, ds []lineDiff, left, total int64, sets int) string {
	off := func(n int64) string {
		if n < 0 {
			return num(-n) + " zu viel"
		}
		return num(n) + " zu wenig"
	}
	s := deEnds(k, ds) + " "
	switch {
	case sets <= 1:
		return s + off(left) + "."
	case left != total:
		s += off(left) + " in diesem Sieb, "
	}
	return s + off(total) + " über alle Siebe des Falls, die gezählt wurden."
}

func (german) nextCount(sev Severity) string {
	switch sev {
	case SeverityNoted:
		return "Üblicherweise ist nichts weiter zu tun; eine stimmige Zählung allein ist kein Beweis." + dePolicyDecides
	case SeverityDoubtful:
		return "Üblicherweise werden beide Siebe gemeinsam nochmals gezählt, und jedes Teil kommt dorthin, wo es hingehört." + dePolicyDecides
	}
	return "Üblicherweise wird das Team informiert, mit dem Verschluss wird gewartet, wenn das sicher ist, alles wird nochmals gezählt, Feld, Boden, Wäsche und Abfall werden abgesucht, und Bildgebung wird erwogen, bevor der Patient den OP verlässt." + dePolicyDecides
}

func (german) sayLinesUncounted(c *chain, it *item, lines []int64) string {
	said := lines
	more := ""
	if len(said) > linesSaid*2 {
		said, more = said[:linesSaid*2], " und weitere"
	}
	return "Die " + deStage(countOf(it).Stage) + " von " + c.key.Set + " (" + deTime(it.at()) + ") hat ausgelassen: " + plural(len(lines), "Zeile ", "Zeilen ") + deNumbers(said) + more + "."
}

func (german) sayAfterFinal(k TripKey, final *item, ls []unseenLine) string {
	var parts []string
	for i, l := range ls {
		if i == linesSaid {
			parts = append(parts, num(int64(len(ls)-i))+" weitere "+plural(len(ls)-i, "Zeile", "Zeilen"))
			break
		}
		var what []string
		if l.added != 0 {
			what = append(what, num(l.added)+" hinzugefügt")
		}
		if l.removed != 0 {
			what = append(what, num(l.removed)+" entfernt")
		}
		parts = append(parts, deLine(&l.lineDiff)+": "+deList(what)+" ("+deTime(l.last.at())+")")
	}
	return "Nach der letzten Zählung von " + k.Set + " (" + deTime(final.at()) + ") kamen Teile hinzu oder wurden entfernt, und seither wurde nicht mehr gezählt: " + strings.Join(parts, "; ") + "."
}

func (german) sayStagesMissing(c *chain, missing []events.Stage) string {
	names := make([]string, len(missing))
	for i, s := range missing {
		names[i] = deStage(s)
	}
	return "Zu " + c.key.Set + " ist nicht aufgezeichnet: " + deList(names) + "."
}

func (german) nextCountMissing() string {
	return "Üblicherweise wird gefragt, ob gezählt und nur nicht aufgezeichnet wurde; wurde nicht gezählt, wird das mit Begründung aufgezeichnet." + dePolicyDecides
}

func (german) sayOnePerson(k TripKey, its []*item) string {
	if countOf(its[0]).Witness == "" {
		return "Zählung von " + k.Set + ": " + deStages(its) + " " + plural(len(its), "nennt", "nennen") + " keine zweite Zählperson."
	}
	stages := make([]string, len(its))
	for i, it := range its {
		d := countOf(it)
		stages[i] = deStage(d.Stage) + " (" + deTime(it.at()) + ", Ausweis " + d.Counter + ")"
	}
	return "Zählung von " + k.Set + ": " + deList(stages) + " " + plural(len(its), "hat", "haben jeweils") + " in beiden Rollen denselben Ausweis."
}

func (german) nextOnePerson() string {
	return "Üblicherweise zählen zwei Personen gemeinsam, eine davon steril; war jemand allein, wird das mit Begründung aufgezeichnet." + dePolicyDecides
}

func (german) sayWrongList(c, y *chain, cl class, its []*item) string {
	s := "Zählung von " + c.key.Set + ": " + deStages(its) + " " + plural(len(its), "wurde", "wurden") + " gemacht nach "
	switch {
	case y != nil && y.key.Set == c.key.Set:
		return s + "einem Blatt aus einem anderen Umlauf dieses Siebs." + deChanges(c.list, y.list)
	case y != nil:
		return s + "dem Blatt von " + y.key.Set + "." + deChanges(c.list, y.list)
	case cl == readUnreadable:
		return s + "einem Blatt, dessen Code beschädigt ist."
	case cl == readAltered:
		return s + "einem Blatt mit anderem Inhalt als beigelegt."
	}
	return s + "einem Blatt, das zu keinem hier aufgezeichneten Umlauf gehört."
}

func (german) nextWrongList() string {
	return "Üblicherweise wird das Sieb nach seiner eigenen Zählliste nochmals gezählt." + dePolicyDecides
}

// deOutcome says how a case was closed, as the person who closed it said.
func deOutcome(o string) string {
	switch o {
	case "reconciled":
		return "stimmig"
	case "unreconciled":
		return "nicht stimmig"
	}
	return o
}

func (german) sayClosed(k TripKey, it *item, d *events.CaseClosed, open []openItem) string {
	s := "Fall " + d.Case + ", in dem " + k.Set + " verwendet wurde, wurde am " + deTime(it.at()) + " als " + deOutcome(d.Outcome) + " abgeschlossen"
	left, unseen := openAtClosing(open)
	if len(left) > 0 {
		var parts []string
		for i, o := range left {
			if i == linesSaid {
				parts = append(parts, num(int64(len(left)-i))+" weitere")
				break
			}
			if o.quantity > 0 {
				parts = append(parts, num(o.quantity)+" zu wenig in "+o.set+" "+deLine(o.line))
			} else {
				parts = append(parts, num(-o.quantity)+" zu viel in "+o.set+" "+deLine(o.line))
			}
		}
		if d.Outcome == "reconciled" {
			s += ", obwohl dies ungeklärt ist: "
		} else {
			s += "; ungeklärt ist: "
		}
		s += strings.Join(parts, "; ")
	}
	if len(unseen) > 0 {
		var parts []string
		for i, o := range unseen {
			if i == linesSaid {
				parts = append(parts, num(int64(len(unseen)-i))+" weitere")
				break
			}
			parts = append(parts, o.set+" "+deLine(o.line))
		}
		switch {
		case d.Outcome != "reconciled":
			s += "; am Ende nicht gezählt wurde: "
		case len(left) > 0:
			s += "; und obwohl dies am Ende nicht gezählt wurde: "
		default:
			s += ", obwohl dies am Ende nicht gezählt wurde: "
		}
		s += strings.Join(parts, "; ")
	}
	s += "."
	if d.Reason != "" {
		s += " Angegebener Grund: " + d.Reason + "."
	}
	if len(d.Actions) == 0 {
		return s + " Keine Maßnahme ist aufgezeichnet."
	}
	return s + " Aufgezeichnete Maßnahmen: " + strings.Join(d.Actions, "; ") + "."
}

func (german) nextClosed() string {
	return "Üblicherweise werden Operateur und verantwortliche Person informiert, Suche und Bildgebung aufgezeichnet, und der Fall wird gemeldet." + dePolicyDecides
}

func (german) sayRemarks(r events.Remark) []string {
	var out []string
	for _, x := range []struct {
		r    events.Remark
		name string
	}{
		{events.RemarkSignature, "Unterschrift stimmt nicht"},
		{events.RemarkGap, "Lücke in der Nummerierung der Station"},
		{events.RemarkBackwards, "Uhr der Station lief rückwärts"},
		{events.RemarkAhead, "später beobachtet als aufgezeichnet"},
		{events.RemarkUnknown, "Art oder Version nicht bekannt"},
		{events.RemarkForm, "nicht in kanonischer Form"},
	} {
		if r&x.r != 0 {
			out = append(out, x.name)
		}
	}
	return out
}

func (w german) sayRemark(code Code, station string, its []*item) string {
	if station == "" {
		station = "einer unbekannten Station"
	}
	n := len(its)
	s := num(int64(n)) + " " + plural(n, "Aufzeichnung", "Aufzeichnungen") + " von " + station + " "
	switch code {
	case SignatureBad:
		s += plural(n, "trägt", "tragen") + " eine Unterschrift, die nicht stimmt"
	case StationGap:
		s += plural(n, "schließt", "schließen") + " nicht an die vorige an: Aufzeichnungen fehlen oder kamen doppelt"
	case ClockDoubtful:
		s += plural(n, "hat", "haben") + " eine Zeit, die nicht stimmen kann"
	case RecordUnread:
		s += plural(n, "ist", "sind") + " von einer Art oder Version, die dieses Programm nicht kennt"
	}
	for _, it := range its {
		if it.Event != nil {
			return s + ", zuerst am " + deTime(it.at()) + " (" + strings.Join(w.sayRemarks(its[0].Remarks), "; ") + ")."
		}
	}
	return s + " (" + strings.Join(w.sayRemarks(its[0].Remarks), "; ") + ")."
}

func (german) nextRemark(code Code) string {
	switch code {
	case SignatureBad:
		return "Üblicherweise bestätigen die darin genannten Personen, was diese Aufzeichnungen sagen, und die Station wird geprüft, bevor sie weiter aufzeichnet." + dePolicyDecides
	case StationGap:
		return "Üblicherweise werden die fehlenden Aufzeichnungen von der Station geholt." + dePolicyDecides
	case ClockDoubtful:
		return "Üblicherweise wird die Uhr der Station gestellt, und die Zeiten werden mit Begründung berichtigt." + dePolicyDecides
	}
	return "Üblicherweise werden sie mit einer neueren Version dieses Programms gelesen." + dePolicyDecides
}

func (german) sayFixUnread(it, fix *item) string {
	return "Eine Berichtigung vom " + deTime(fix.at()) + " zum Schritt „" + deKind(it.kind) + "“ vom " + deTime(it.at()) + " ist nicht lesbar und blieb unberücksichtigt."
}

func (german) nextFixUnread() string {
	return "Üblicherweise wird die Berichtigung nochmals aufgezeichnet." + dePolicyDecides
}

func (german) sayEvent(it *item) string {
	s := deData(it)
	switch {
	case it.void && it.by != nil:
		return s + " (durch eine Berichtigung zurückgenommen)"
	case it.void:
		return s + " (dieselbe Beobachtung, ein zweites Mal aufgezeichnet)"
	case it.by != nil:
		return s + " (wie berichtigt)"
	}
	return s
}

// deReason puts the reasons into words that packing offers; others are a
// person's own.
func deReason(r string) string {
	switch r {
	case "missing":
		return "fehlt"
	case "substituted":
		return "ersetzt"
	case "damaged":
		return "beschädigt"
	}
	return r
}

func deData(it *item) string {
	e := it.Event
	switch d := it.data.(type) {
	case *events.SetPacked:
		s := "gepackt nach Version " + num(d.Version) + " von " + d.List
		for i, x := range d.Exceptions {
			if i == 0 {
				s += "; nicht wie auf der Zählliste: "
			} else {
				s += ", "
			}
			s += "Zeile " + num(x.Line) + " hat " + num(x.Counted) + " (" + deReason(x.Reason) + ")"
		}
		if d.Note != "" {
			s += "; Bemerkung: " + d.Note
		}
		return s
	case *events.ListSealed:
		s := "Blatt " + deSealed(d.Placement)
		if len(d.Seals) > 0 {
			s += "; " + plural(len(d.Seals), "Plombe ", "Plomben ") + deList(d.Seals)
		}
		return s
	case *events.SetSterilized:
		return "in " + deLoad(d.Load) + " (" + d.Sterilizer + ", Lauf " + num(d.Run) + ", " + d.Cycle + "): " + deResult(d.Result) + deReleased(d.Released)
	case *events.SetChecked:
		return "geprüft: " + placeOf(it) + deLook(it, d.Sheet, d.Tag, d.OuterLabel, d.SealBroken)
	case *events.SetOpened:
		s := "geöffnet für Fall " + d.Case
		if d.Room != "" {
			s += ", " + d.Room
		}
		s += deLook(it, d.Sheet, d.Tag, d.OuterLabel, d.SealBroken)
		if d.Indicator != "" {
			s += "; Indikator innen: " + deResult(d.Indicator)
		}
		return s
	case *events.SetCounted:
		s := deStage(d.Stage) + " für Fall " + d.Case + ": " + strconv.Itoa(len(d.Counts)) + " " + plural(len(d.Counts), "Zeile", "Zeilen") + ", von " + d.Counter
		if d.Witness != "" {
			s += " und " + d.Witness
		}
		for _, r := range d.Removed {
			s += "; Zeile " + num(r.Line) + ": " + num(r.Quantity) + " entnommen (" + r.Reason + ")"
		}
		return s
	case *events.CaseClosed:
		s := "Fall " + d.Case + " als " + deOutcome(d.Outcome) + " abgeschlossen"
		if len(d.Actions) > 0 {
			s += "; Maßnahmen: " + strings.Join(d.Actions, "; ")
		}
		if d.Outcome == "reconciled" {
			s += ". Eine stimmige Zählung allein ist kein Beweis"
		}
		return s
	case *events.ListIssued:
		return "Version " + num(d.Version) + " der Zählliste " + d.List + " herausgegeben: " + d.Title + ", " + strconv.Itoa(len(d.Lines)) + " " + plural(len(d.Lines), "Zeile", "Zeilen")
	case *events.IndicatorRead:
		return "Bioindikator von " + deLoad(d.Load) + " in " + d.Sterilizer + ": " + deResult(d.Result)
	case *events.PolicyAdopted:
		return "Regeln von " + e.Subject + " in Kraft gesetzt"
	case *events.StationEnrolled:
		return "Station " + d.Station + " angemeldet"
	case *events.StationRetired:
		return "Station " + d.Station + " abgemeldet: " + d.Reason
	case *events.FindingAcknowledged:
		return "Befund " + d.Code + " zur Kenntnis genommen: " + d.Reason
	case *events.EventCorrected:
		if d.Action == "void" {
			return "Berichtigung: eine frühere Aufzeichnung wird zurückgenommen: " + d.Reason
		}
		return "Berichtigung: eine frühere Aufzeichnung wird geändert: " + d.Reason
	case *events.Unknown:
		return "eine Aufzeichnung vom Typ " + d.Type + ", den dieses Programm nicht kennt"
	}
	return string(it.kind)
}

func deLook(it *item, sheet *events.Reading, tag, outer string, broken bool) string {
	s := ""
	switch {
	case sheet == nil:
		s = "; Blatt nicht gelesen"
	case sheet.Found == events.FoundNone:
		s = "; kein Blatt gefunden"
	case sheet.Unreadable:
		s = "; Blatt " + dePlacement(events.Placement(sheet.Found)) + ", sein Code beschädigt"
	case sheet.Code == "":
		s = "; Blatt " + dePlacement(events.Placement(sheet.Found)) + " gesehen, nicht gelesen"
	case it.code != nil:
		s = "; Blatt " + dePlacement(events.Placement(sheet.Found)) + " gelesen, Code " + it.code.Short()
	}
	if tag != "" && tag != it.Event.Subject {
		s += "; Etikett am Sieb " + tag
	}
	if outer != "" && outer != it.Event.Subject {
		s += "; Außenetikett " + outer
	}
	if broken {
		s += "; eine Plombe gebrochen"
	}
	return s
}
