// Package sessions has tests of the stations' pages: what several do at the same time, and random work.
package sessions_test

import (
	"testing"

	"listbound/cmd/internal/workplace/workplacetest"
)

func TestMain(m *testing.M) { workplacetest.Main(m) }
