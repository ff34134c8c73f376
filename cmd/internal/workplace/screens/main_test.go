//go:build !race

// Package screens has tests of the stations' pages: what screens show, and a browser that is alone.
package screens_test

import (
	"testing"

	"listbound/cmd/internal/workplace/workplacetest"
)

func TestMain(m *testing.M) { workplacetest.Main(m) }
