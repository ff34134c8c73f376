package workplace

import (
	"maps"
	"slices"
	"strconv"
	"strings"

	"listbound/cmd/internal/refusal"
	"listbound/events"
)

// beginRun begins a load. same is one that was recorded before, and is meant.
func (b *sterilizer) beginRun(v *visit, f fields, same string) (said, error) {
	run, q, err := b.readRun(v, f)
	if err != nil || run == nil {
		return q, err
	}
	id, before, err := b.loadID(v, run.Sterilizer, run.Run)
	switch {
	case err != nil:
		return said{}, err
	case b.find(id) != nil:
		return said{}, v.sayNo("load-begun", id)
	case before != nil && failedRun(before):
		return said{}, v.sayNo("load-failed-before", id)
	case before != nil && same != id:
		return v.askBegun(id, before)
	}
	there, err := v.loadThere(id)
	if err != nil || there != nil && same != id {
		return v.askThere(there), err
	}
	run.Load = id
	if err := run.Check(); err != nil {
		return said{}, refusal.Because(err)
	}
	l := load{Load: id, Sterilizer: run.Sterilizer, Run: run.Run, Cycle: run.Cycle, Immediate: run.Immediate, For: run.For}
	if before != nil {
		recorded, err := v.runRecorded(id)
		if err != nil {
			return said{}, err
		}
		l.again(recorded)
	}
	if there != nil && there.Started && !l.Started { // one cycle has one start
		l.Started, l.StartedAt, l.Loader, l.Forgot = true, there.StartedAt, there.Loader, true
	}
	b.Loads = append(b.Loads, l)
	b.Load, b.Done, b.Entered, b.ForIs = id, nil, nil, ""
	const kept = 12
	b.Ran = slices.DeleteFunc(b.Ran, func(c string) bool { return c == run.Cycle })
	b.Ran = slices.Insert(b.Ran, 0, run.Cycle)[:min(kept, len(b.Ran)+1)]
	return ask(b.next(v), ""), nil
}

// readRun reads the form that begins a load: as what will be recorded if it passes. nil where something is asked about it first.
func (b *sterilizer) readRun(v *visit, f fields) (*events.SetSterilized, said, error) {
	name := strings.ToUpper(strings.TrimSpace(f["sterilizer"]))
	ref, scanned := strings.TrimSpace(f["for"]), v.caseIn(f["for"])
	ref = firstOf(scanned, ref)
	if err := v.checkCase(events.ScanCase, ref); err != nil {
		return nil, said{}, err
	}
	b.Entered = fields{"sterilizer": name, "run": f["run"], "cycle": f["cycle"], "other": f["other"], "immediate": f["immediate"],
		"for": ref}
	immediate, err := v.reason(f["immediate"])
	if err != nil {
		return nil, said{}, err
	}
	cycle, err := b.cycle(v, firstOf(strings.TrimSpace(f["other"]), strings.TrimSpace(f["cycle"])))
	if err != nil {
		return nil, said{}, err
	}
	run, err := strconv.ParseInt(strings.TrimSpace(f["run"]), 10, 64)
	if name == "" || cycle == "" || err != nil || run < 1 {
		return nil, said{}, v.sayNo("load-needs")
	}
	if err := v.mayRun(name, cycle); err != nil {
		return nil, said{}, err
	}
	if q, err := b.askFor(v, ref, scanned != ""); err != nil || q.Words != "" {
		return nil, q, err
	}
	if like, err := b.likeSterilizer(v, name); err != nil || like != "" {
		return nil, ask(v.t("sterilizer-alike", name, like), v.t("sterilizer-alike-more")).offer(
			choice{Do: "sterilizer-is", Value: like, Words: v.t("do-sterilizer-is", like)},
			choice{Do: "sterilizer-new", Value: name, Words: v.t("do-sterilizer-new", name)}), err
	}
	return &events.SetSterilized{Sterilizer: name, Run: run, Cycle: cycle, Result: "passed", Immediate: immediate, For: ref}, said{}, nil
}

// askFor asks which case a run for immediate use is for, by the rules of the scan at an opening: a code that nobody knows
// may be a badge or a wristband, and one that is almost written as a known case's may be that case's. Its sets are held
// against the case that they are opened for.
func (b *sterilizer) askFor(v *visit, ref string, scanned bool) (said, error) {
	if ref == "" || ref == b.ForIs {
		return said{}, nil
	}
	like, err := v.caseLike(ref)
	switch {
	case err != nil:
		return said{}, err
	case like != "":
		return doubt(v.t("case-like", ref, like), v.t("case-like-more")).offer(
			choice{Do: "for-is", Value: like, Words: v.t("do-case-like", like)},
			choice{Do: "for-is", Value: ref, Words: v.t("do-case-new", ref)}), nil
	case scanned:
		return said{}, nil
	}
	kind, err := v.plainKind(ref, wanted(events.ScanSet, events.ScanBadge, events.ScanCase, events.ScanSeal))
	switch {
	case err != nil || kind == events.ScanCase:
		return said{}, err
	case kind != "":
		return said{}, v.notAskedFor(kind, ref)
	case !canBe(events.ScanCase, ref):
		return said{}, v.sayNo("which-nothing", ref)
	}
	return ask(v.t("which", ref), v.t("which-more")).offer(
		choice{Do: "for-is", Value: ref, Words: v.t("kind-case")}, choice{Do: "for-none", Words: v.t("which-none")}), nil
}

// sayFor answers which case a run is for, sayForNone that what was entered is none.
func (b *sterilizer) sayFor(v *visit, f fields) (said, error) {
	ref := f["value"]
	if b.Entered == nil || ref == "" || events.Likeness(ref) != events.Likeness(b.Entered["for"]) {
		return said{}, nil
	}
	if err := v.learn(events.ScanCase, ref); err != nil {
		return said{}, err
	}
	again := maps.Clone(b.Entered)
	again["for"], b.ForIs = ref, ref
	return b.beginRun(v, again, "")
}

func (b *sterilizer) sayForNone(*visit, fields) (said, error) {
	if b.Entered != nil {
		b.Entered["for"] = ""
	}
	return said{}, nil
}
