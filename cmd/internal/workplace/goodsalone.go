package workplace

import (
	"crypto/sha256"
	"encoding/base32"
	"errors"
	"net/http"
	"net/url"
	"slices"
	"strings"

	"listbound/cmd/internal/refusal"
	"listbound/cmd/internal/site"
	"listbound/projections"
)

// In many cases sponges and sharps are counted, and no set with a list is open. Such goods have an account of their own, as a
// set has, under a name that is used for this one case: so they are counted, signed, reconciled and closed as everything
// else is. Nothing is recorded of them before their first count is signed.

// goodsAlone are goods of a case that lie with no set.
type goodsAlone struct {
	Name string `json:"name"`
	List string `json:"list"`
}

// layGoodsAlone lays goods that somebody said are counted without a set beside what was opened for a case, until their first count
// is recorded, or a set is open with which they can lie. Once something was counted of them, at whichever stage, they stay.
func (v *visit) layGoodsAlone(st *projections.CaseStanding) error {
	w, err := v.d.files.whole(st.Case)
	if errors.Is(err, errUnreadable) || w.Goods == nil {
		return ignoreUnreadable(err)
	}
	if err != nil {
		return err
	}
	if slices.ContainsFunc(st.Sets, func(s projections.SetStanding) bool { return s.Goods }) {
		return nil
	}
	if len(st.Sets) > 0 {
		begun, err := v.goodsCounted(st.Case, w.Goods.Name)
		if err != nil || !begun {
			return err
		}
	}
	lists, err := v.goodsLists()
	if err != nil {
		return err
	}
	s := projections.SetStanding{Key: projections.TripKey{Set: w.Goods.Name}, List: w.Goods.List, Opened: true, Listed: true, Goods: true}
	if i := slices.IndexFunc(lists, func(l site.ListVersion) bool { return l.List == w.Goods.List }); i >= 0 {
		s.Title = lists[i].Title
	}
	st.Sets = append(st.Sets, s)
	return nil
}

// layGoodsBegun lays them beside the sets only where something was counted of them: whoever ends the case is told that it is not signed.
func (v *visit) layGoodsBegun(st *projections.CaseStanding) error {
	w, err := v.d.files.whole(st.Case)
	if err != nil || w.Goods == nil {
		return ignoreUnreadable(err)
	}
	if begun, err := v.goodsCounted(st.Case, w.Goods.Name); err != nil || !begun {
		return err
	}
	return v.layGoodsAlone(st)
}

// goodsCounted reports whether something was counted, and not signed, of goods that lie with no set.
func (v *visit) goodsCounted(ref, name string) (bool, error) {
	for _, stage := range Stages() {
		d, _, err := v.d.files.draft(ref, name, stage)
		if errors.Is(err, errUnreadable) { // the count says that it is lost
			return true, nil
		}
		if err != nil || d.begun() {
			return err == nil, err
		}
	}
	return false, nil
}

// goodsLists are the site's lists of goods, in their newest versions.
func (v *visit) goodsLists() ([]site.ListVersion, error) {
	all, err := v.d.site.Lists(v, "")
	return slices.DeleteFunc(newest(all), func(l site.ListVersion) bool { return !l.Goods }), err
}

// noSets says of a case for which no set is open that there is nothing to count, and how goods are where the site has such.
func (v *visit) noSets(ref string) error {
	lists, err := v.goodsLists()
	switch {
	case err != nil:
		return err
	case len(lists) == 0:
		return refusal.WithCode(http.StatusNotFound, "%s", v.t("no-sets-on-case", ref))
	}
	return refusal.WithCode(http.StatusNotFound, "%s", v.t("no-sets-goods", ref))
}

// goodsBegun reports whether goods of a case are counted that lie with no set.
func (v *visit) goodsBegun(ref string) (bool, error) {
	w, err := v.d.files.whole(ref)
	return err == nil && w.Goods != nil, ignoreUnreadable(err)
}

// askGoodsAlone asks of a case for which no set is open whether only goods are counted in it, and by which list. It is nothing
// where the site has no such list, or the reference is none of a case.
func (v *visit) askGoodsAlone(ref string) (said, error) {
	err := v.d.site.Ask(func(m *site.View) error { return m.CheckCase(v, v.station, ref, v.now) })
	if err != nil {
		return said{}, err
	}
	lists, err := v.goodsLists()
	if err != nil || len(lists) == 0 {
		return said{}, err
	}
	s := ask(v.t("goods-alone", ref), v.t("goods-alone-more"))
	for _, l := range lists {
		s = s.offer(choice{Do: "goods-alone", Value: l.List + " " + ref, Words: v.t("goods-alone-yes", firstOf(l.Title, l.List))})
	}
	return s, nil
}

// beginGoodsAlone takes the answer: goods of that list are counted in a case without a set.
func (v *visit) beginGoodsAlone(f fields, a *counted) error {
	list, ref, _ := strings.Cut(f["value"], " ")
	q, err := v.askGoodsAlone(ref)
	if err != nil {
		return err
	}
	if !slices.ContainsFunc(q.Choices, func(c choice) bool { return c.Value == f["value"] }) {
		return v.sayNo("goods-list-unknown", list)
	}
	defer v.d.lock(countKey(ref))()
	known, err := v.caseStanding(ref)
	if err != nil {
		return err
	}
	w, err := v.d.files.whole(ref)
	if err := ignoreUnreadable(err); err != nil {
		return err
	}
	if len(known.Sets) == 0 && w.Goods == nil {
		w.Goods = &goodsAlone{Name: v.goodsName(list), List: list}
		if err := v.d.files.save(w, "count", ref, wholeName); err != nil {
			return err
		}
	}
	v.goCount(ref, a)
	return nil
}

// goodsName is what goods of one case are called in its records: by the list, the day, and what no other input gives. It says
// nothing of the case's reference, which may have to be forgotten.
func (v *visit) goodsName(list string) string {
	sum := sha256.Sum256([]byte(v.station + "\x00" + v.key + "\x00" + v.now.UTC().Format("060102150405.000000000")))
	name := base32.NewEncoding("0123456789ABCDEFGHJKMNPQRSTVWXYZ").EncodeToString(sum[:5])
	const longest = 40 // of the list's name in it
	return list[:min(len(list), longest)] + "-" + v.now.In(v.d.site.Zone()).Format("060102") + "-" + name[:6]
}

// goCount goes to the count of a case.
func (v *visit) goCount(ref string, a *counted) {
	a.Go = v.d.stationPath(v.station, "count") + "?case=" + url.QueryEscape(ref)
	a.said = good(v.t("go-count", ref), "")
}
