package assess

// DrawsOf shows tests what is drawn.
func DrawsOf(v *Value, seed uint64, n int) []float64 { return v.draws(seed, n) }
