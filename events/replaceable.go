package events

import "slices"

// What of an event a person may say anew in a form, when a correction puts other data in its place. Whom an event is about
// (its set, its case, its load) is none of it: that is taken back and recorded anew.

// Member is a member of an event's data, as a form asks for it.
type Member struct {
	Name    string // as in JSON; one of a member's has that one's name and a dot before it
	Form    MemberForm
	Words   []string // of a choice
	Needed  bool     // it can't be left out
	Columns []Member // of rows
}

// MemberForm is how a member is asked for.
type MemberForm string

// The forms.
const (
	MemberText   MemberForm = "text"
	MemberNumber MemberForm = "number"
	MemberYesNo  MemberForm = "yes-no"
	MemberOneOf  MemberForm = "one-of"
	MemberSomeOf MemberForm = "some-of"
	MemberList   MemberForm = "list" // of texts, a line each
	MemberRows   MemberForm = "rows"
)

func plainText(name string) Member        { return Member{Name: name, Form: MemberText} }
func needed(m Member) Member              { m.Needed = true; return m }
func numberOf(name string) Member         { return Member{Name: name, Form: MemberNumber} }
func yesNo(name string) Member            { return Member{Name: name, Form: MemberYesNo} }
func listOf(name string) Member           { return Member{Name: name, Form: MemberList} }
func lineColumn() Member                  { return needed(numberOf("line")) }
func packageMember() Member               { return choiceOfWords(MemberSomeOf, "package", wordsOf(packageFaults)...) }
func rowsOf(n string, c ...Member) Member { return Member{Name: n, Form: MemberRows, Columns: c} }

func choiceOfWords(f MemberForm, name string, words ...string) Member {
	return Member{Name: name, Form: f, Words: words}
}

// sheetMembers are those of what was read of a sheet; found is none where nobody looked.
func sheetMembers() []Member {
	return []Member{choiceOfWords(MemberOneOf, "sheet.found", foundWords...), plainText("sheet.code"), yesNo("sheet.unreadable")}
}

// Replaceable lists what of a kind's data may be said anew in a form; nothing for a kind of which nothing is.
func Replaceable(k Kind) []Member {
	switch k {
	case KindSetPacked:
		return []Member{
			needed(plainText("list")), needed(numberOf("version")), numberOf("weightGrams"), plainText("note"), plainText("secondLook"),
			rowsOf("exceptions", lineColumn(), needed(numberOf("counted")), needed(plainText("reason"))),
		}
	case KindListSealed:
		return []Member{needed(choiceOfWords(MemberOneOf, "placement", wordsOf(placements)...)), listOf("seals"), plainText("bagLot")}
	case KindSetSterilized:
		return []Member{
			needed(plainText("load")), needed(plainText("sterilizer")), needed(numberOf("run")), needed(plainText("cycle")),
			needed(choiceOfWords(MemberOneOf, "result", "passed", "failed")), yesNo("released"), plainText("loader"),
			plainText("emergency"), plainText("immediate"), plainText("for"),
			choiceOfWords(MemberOneOf, "parameters", ParametersMet), plainText("secondLook"), plainText("day"),
		}
	case KindSetOpened:
		return slices.Concat([]Member{
			needed(plainText("case")), plainText("room"), plainText("tag"), plainText("outerLabel"),
			choiceOfWords(MemberOneOf, "indicator", "pass", "fail", "none"),
		}, sheetMembers(), []Member{listOf("seals"), yesNo("sealBroken"), packageMember()})
	case KindSetCounted:
		return []Member{
			needed(plainText("case")), needed(choiceOfWords(MemberOneOf, "stage", wordsOf(stages)...)),
			needed(plainText("counter")), plainText("witness"),
			rowsOf("counts", lineColumn(), needed(numberOf("counted"))),
			rowsOf("removed", lineColumn(), needed(numberOf("quantity")), needed(plainText("reason")), yesNo("short"), yesNo("stays")),
			rowsOf("beyond", lineColumn(), plainText("item"), needed(plainText("description")), numberOf("added"),
				choiceOfWords(MemberOneOf, "sort", wordsOf(Sorts())...)),
		}
	case KindCaseClosed:
		return []Member{needed(choiceOfWords(MemberOneOf, "outcome", "reconciled", "unreconciled")), listOf("actions"), plainText("reason"),
			plainText("witness")}
	}
	return replaceableBetween(k)
}

// replaceableBetween is Replaceable for what is seen of a set between the links of its chain, and for indicators.
func replaceableBetween(k Kind) []Member {
	switch k {
	case KindSetChecked:
		return slices.Concat([]Member{plainText("place"), plainText("tag"), plainText("outerLabel")}, sheetMembers(), []Member{
			listOf("seals"), yesNo("sealBroken"), packageMember(),
			choiceOfWords(MemberOneOf, "aside", string(AsidePut), string(AsideReleased)), plainText("reason"),
		})
	case KindSetReturned:
		return []Member{
			needed(choiceOfWords(MemberOneOf, "step", wordsOf(returnSteps)...)), plainText("place"),
			choiceOfWords(MemberOneOf, "treated", "yes", "no"),
			plainText("washer"), plainText("washerLoad"), plainText("basket"), choiceOfWords(MemberSomeOf, "faults",
				wordsOf(returnFaults)...),
		}
	case KindPieceReported:
		return []Member{
			needed(choiceOfWords(MemberOneOf, "became", wordsOf(becames)...)), numberOf("line"), plainText("item"),
			plainText("description"),
			needed(numberOf("quantity")), plainText("place"), plainText("washerLoad"), plainText("note"),
		}
	case KindSterilizerTested:
		return []Member{
			needed(plainText("sterilizer")), needed(plainText("day")),
			needed(choiceOfWords(MemberOneOf, "test", wordsOf(dayTests)...)),
			needed(choiceOfWords(MemberOneOf, "result", testResults...)), numberOf("run"), plainText("reason"),
			numberOf("ratePascal"), numberOf("limitPascal"),
		}
	case KindIndicatorRead:
		return []Member{
			needed(choiceOfWords(MemberOneOf, "result", "negative", "positive")), plainText("lot"),
			choiceOfWords(MemberOneOf, "control", "negative", "positive"), numberOf("incubatedMinutes"),
		}
	}
	return nil
}
