package rates_test

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"

	"listbound/projections/rates"
)

// TestSPRT: Wald 1945, bounds at 0.05 and 0.10.
func TestSPRT(t *testing.T) {
	s := rates.SPRT{Lower: 0.001, Higher: 0.003, Alpha: 0.05, Beta: 0.10}
	lower, higher := s.Bounds()
	near(t, "higher", higher, 2.8903717579, 1e-10)
	near(t, "lower", lower, -2.2512917986, 1e-10)
	for _, tt := range []struct {
		in    rates.Series
		want  rates.Decision
		after int64
	}{
		{rates.Series{Since: 500}, rates.Undecided, 500},
		// 2.2512917986 / (ln 0.999 - ln 0.997) = 1123.4
		{rates.Series{Since: 1123}, rates.Undecided, 1123},
		{rates.Series{Since: 5000}, rates.TheLower, 1124},
		{rates.Series{Clean: []int64{10, 10}}, rates.Undecided, 22},
		{rates.Series{Clean: []int64{10, 10, 10, 10}, Since: 9}, rates.TheHigher, 33},
		{rates.Series{Clean: []int64{5000, 0, 0, 0, 0}}, rates.TheLower, 1124}, // what is decided is
		{rates.Series{Clean: []int64{100}, Since: 5000}, rates.TheLower, 1673},
	} {
		got, after, _ := s.Run(tt.in)
		if got != tt.want || after != tt.after {
			t.Errorf("%v: %s after %d, want %s after %d", tt.in, got, after, tt.want, tt.after)
		}
	}
	if c := (rates.Series{Clean: []int64{100, 3}, Since: 7}).Count(); c != count(2, 112) {
		t.Errorf("100, an incident, 3, another, 7: %v", c)
	}
}

// TestSPRTErrs: no oftener than Wald's inequalities allow, by simulation.
func TestSPRTErrs(t *testing.T) {
	s := rates.SPRT{Lower: 0.001, Higher: 0.003, Alpha: 0.05, Beta: 0.10}
	r := rand.New(rand.NewPCG(15, 4))
	wrong := func(rate float64, decision rates.Decision) float64 {
		const runs = 4000
		n := 0
		for range runs {
			in := rates.Series{}
			for range 200 { // more than it ever takes
				in.Clean = append(in.Clean, cleanBefore(r, rate))
			}
			if d, _, _ := s.Run(in); d == decision {
				n++
			} else if d == rates.Undecided {
				t.Fatal("undecided after 200 incidents")
			}
		}
		return float64(n) / runs
	}
	if share := wrong(0.001, rates.TheHigher); share > 0.05/0.90 || share == 0 {
		t.Errorf("the higher rate decided wrongly: %v", share)
	}
	if share := wrong(0.003, rates.TheLower); share > 0.10/0.95 || share == 0 {
		t.Errorf("the lower rate decided wrongly: %v", share)
	}
}

// cleanBefore draws how many openings are clean before the next incident.
func cleanBefore(r *rand.Rand, rate float64) int64 {
	return int64(math.Log(1-r.Float64()) / math.Log1p(-rate))
}

// TestCusum: exact mean numbers of openings to a signal, of the Markov chain with steps
// of 1/549 (R 4.2.2, run); the weights as R's package success has them.
func TestCusum(t *testing.T) {
	for h, want := range map[float64][2]float64{
		1: {3369.37, 746.25}, 2: {11512.71, 1347.25}, 3: {38597.57, 2107.85}, 4: {123788.21, 2935.17},
	} {
		c := rates.NewCusum(0.001, 0.003, h)
		if c.M != 549 { // 1.10061629735 / 0.00200400869 = 549.207
			t.Errorf("steps of 1/%d", c.M)
		}
		near(t, "usual", c.RunLength(0.001), want[0], 0.005)
		near(t, "raised", c.RunLength(0.003), want[1], 0.005)
	}
	c := rates.NewCusum(0.001, 0.003, 3)
	near(t, "one false alarm in days", c.RunLength(0.001)/279, 138, 0.5)
	near(t, "seen in days", c.RunLength(0.003)/279, 7.6, 0.05)
	found := rates.CusumFor(0.001, 0.003, 38597.57)
	less := found
	less.Limit--
	if found.RunLength(0.001) < 38597.57 || less.RunLength(0.001) >= 38597.57 || found.Limit != 1647 {
		t.Errorf("the limit for so many openings: %v", found)
	}
}

// TestCusumOfOddRates: whatever rates are asked for, there is an answer that fits in memory.
func TestCusumOfOddRates(t *testing.T) {
	for _, r := range [][3]float64{{0.5, 0.9, 1e5}, {1e-7, 2e-7, 1e9}, {0.00001, 0.1, 1e6}, {0.08, 0.1, 1e5}, {0.001, 0.0012, 1e5}} {
		c := rates.CusumFor(r[0], r[1], r[2])
		if c.M < 2 || c.Limit < 1 || c.Limit > 1<<20 {
			t.Errorf("%g against %g: %+v", r[0], r[1], c)
		}
		if l := c.RunLength(r[1]); r[1] <= 0.1 && !(l >= 1 && l < 1.5*c.RunLength(r[0])) {
			t.Errorf("%g against %g: %+v, run length %v, usually %v", r[0], r[1], c, l, c.RunLength(r[0]))
		}
	}
}

// TestRunLengthBySolving: the whole system of equations, solved by gonum.
func TestRunLengthBySolving(t *testing.T) {
	for _, c := range []rates.Cusum{{M: 7, Limit: 25}, {M: 50, Limit: 30}, {M: 2, Limit: 5}, {M: 3, Limit: 1}} {
		n := int(c.Limit)
		for _, rate := range []float64{0.02, 0.1, 0.3} {
			a, b := mat.NewDense(n, n, nil), mat.NewVecDense(n, nil)
			for j := range n {
				b.SetVec(j, 1)
				a.Set(j, j, a.At(j, j)+1)
				down := max(0, j-1)
				a.Set(j, down, a.At(j, down)-(1-rate))
				if up := j + int(c.M) - 1; up < n {
					a.Set(j, up, a.At(j, up)-rate)
				}
			}
			var e mat.VecDense
			if err := e.SolveVec(a, b); err != nil {
				t.Fatal(err)
			}
			near(t, "mean", c.RunLength(rate)/e.AtVec(0), 1, 1e-8)
		}
	}
	if l := (rates.Cusum{M: 3}).RunLength(0.1); l != 1 {
		t.Errorf("a limit of nothing: %v", l)
	}
}

// TestCusumRuns: the chart itself signals as often as its run length says.
func TestCusumRuns(t *testing.T) {
	c := rates.NewCusum(0.01, 0.03, 2)
	r := rand.New(rand.NewPCG(15, 5))
	in := rates.Series{Since: 40}
	for range 200_000 {
		in.Clean = append(in.Clean, cleanBefore(r, 0.01))
	}
	signalled, now := c.Run(in)
	openings := float64(in.Count().Of)
	near(t, "openings a signal", openings/float64(len(signalled))/c.RunLength(0.01), 1, 0.03)
	if last := signalled[len(signalled)-1]; last > in.Count().Of || now < 0 {
		t.Errorf("signal after %d, now %d", last, now)
	}
	c = rates.Cusum{M: 100, Limit: 150}
	signalled, now = c.Run(rates.Series{Clean: []int64{1000, 20}, Since: 30})
	if len(signalled) != 1 || signalled[0] != 1022 || now != 0 {
		t.Errorf("two close together: %v, now %d", signalled, now)
	}
	signalled, now = c.Run(rates.Series{Clean: []int64{1000, 60}, Since: 30})
	if len(signalled) != 0 || now != 99-60+99-30 {
		t.Errorf("two further apart: %v, now %d", signalled, now)
	}
}
