//go:build !race

// Package loads has tests of the stations' pages: the sterilizer's loads and what comes back.
package loads_test

import (
	"testing"

	"listbound/cmd/internal/workplace/workplacetest"
)

func TestMain(m *testing.M) { workplacetest.Main(m) }
