//go:build !race

// Package counts has tests of the stations' pages: the count and the close of a case.
package counts_test

import (
	"testing"

	"listbound/cmd/internal/workplace/workplacetest"
)

func TestMain(m *testing.M) { workplacetest.Main(m) }
