package commands

import (
	"cmp"
	"fmt"
	"io"

	"github.com/spf13/cobra"

	"listbound/events"
	"listbound/projections/words"
)

// explainedKind is a kind of observation, what it is called, and the least that one of it says.
type explainedKind struct {
	Kind     events.Kind        `json:"kind"`
	Name     string             `json:"name"`
	About    events.SubjectKind `json:"about"`
	Recorder events.Recorder    `json:"recorder"` // station, ledger or either
	Roles    []events.Role      `json:"roles"`
	Work     events.Work        `json:"work,omitempty"` // what a station must be for
	Example  string             `json:"example"`
}

func (a *app) kinds() *cobra.Command {
	return explain(a, "kinds", "explains the kinds of observations",
		`Says of each kind what it is about, who may record it, and the least that its data
says, to begin an observation with. Reads no ledger. What else there is to say of
each is in the package comment of events, and in testdata/FORMATS.md.`,
		func(j *words.Judgement, lang string) (all []explainedKind) {
			for _, k := range events.Kinds() {
				info, _ := k.Info()
				all = append(all, explainedKind{k, j.Kind(lang, k), info.Subject, info.By, info.Roles, info.Work, info.Example})
			}
			return all
		}, printKinds)
}

func printKinds(to io.Writer, all []explainedKind) error {
	for _, x := range all {
		work := cmp.Or(string(x.Work), "any")
		if x.Recorder == events.ByLedger {
			work = "the ledger itself"
		}
		if _, err := fmt.Fprintf(to, "%s: %s\n  about: %s; station: %s\n  data: %s\n", x.Kind, x.Name, x.About, work,
			x.Example); err != nil {
			return err
		}
	}
	return nil
}
