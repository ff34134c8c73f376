//go:build !race

// Package packing has tests of the stations' pages: packing, lists and registers.
package packing_test

import (
	"testing"

	"listbound/cmd/internal/workplace/workplacetest"
)

func TestMain(m *testing.M) { workplacetest.Main(m) }
