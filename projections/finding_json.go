package projections

import (
	"fmt"

	"github.com/go-json-experiment/json"
	"github.com/go-json-experiment/json/jsontext"
)

// UnmarshalJSON reads a finding whose detail is of the struct that its code and
// way name. A way that this program does not know, of a later version, is kept
// without its detail.
func (f *Finding) UnmarshalJSON(b []byte) error {
	type plain Finding // without this method
	v := struct {
		*plain `json:",inline"`
		Detail jsontext.Value `json:"detail"`
	}{plain: (*plain)(f)}
	if err := json.Unmarshal(b, &v); err != nil {
		return fmt.Errorf("reading a finding: %w", err)
	}
	f.Detail = NewDetail(Way{f.Code, f.Way})
	if f.Detail == nil || len(v.Detail) == 0 {
		return nil
	}
	if err := json.Unmarshal(v.Detail, f.Detail); err != nil {
		return fmt.Errorf("reading the detail of %s (%s): %w", f.Code, f.Way, err)
	}
	return nil
}
