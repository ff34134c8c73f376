//go:build !race

// Package meant has tests of the stations' pages: what is recorded being what was shown and meant.
package meant_test

import (
	"testing"

	"listbound/cmd/internal/workplace/workplacetest"
)

func TestMain(m *testing.M) { workplacetest.Main(m) }
