package facts

import (
	"slices"
	"strings"
	"time"
)

// benchKey names a station on one day (UTC), which is how much is fetched at a time.
func benchKey(station string, at time.Time) string {
	return station + " " + at.UTC().Format(time.DateOnly)
}

// ReadBench reads the key of a station's day: whose it is, and from when to when.
func ReadBench(key string) (station string, from, to time.Time, ok bool) {
	i := strings.LastIndexByte(key, ' ')
	from, err := time.Parse(time.DateOnly, key[i+1:])
	station = key[:max(0, i)]
	return station, from, from.Add(24 * time.Hour), err == nil && station != ""
}

// PackedBeside returns the packings in force that were observed at the station of a packing within some time of it, in
// order, with itself.
func (b *Book) PackedBeside(pack *Item, within time.Duration) (out []*Item) {
	from, to := pack.At().Add(-within), pack.At().Add(within)
	station := pack.Event.Station
	for day := from.UTC().Truncate(24 * time.Hour); !day.After(to); day = day.Add(24 * time.Hour) {
		bench := benchKey(station, day)
		b.need(DimBench, bench)
		b.AskedBetween(DimBench, bench, Nanos(from), Nanos(to))
		for _, it := range b.benches[bench] {
			if !it.Void && !it.At().Before(from) && !it.At().After(to) {
				out = append(out, it)
			}
		}
	}
	slices.SortFunc(out, Compare)
	return out
}
