package main

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"net/url"
	"path/filepath"
	"strings"
	"time"
)

// histories of trips, loads and cases are asked over HTTP, out of many records.
func histories(ctx context.Context, b *bench) error {
	f, err := b.filled(ctx)
	if err != nil {
		return err
	}
	ours, err := f.serve(ctx)
	if err != nil {
		return err
	}
	servers := []*child{ours}
	defer func() {
		for _, c := range servers {
			_ = c.stop() // what it says would hide the error that counts
		}
	}()
	if b.pg != nil {
		r, err := b.rivalAgain(ctx, filepath.Base(f.dir))
		if err != nil {
			return err
		}
		servers = append(servers, r)
	}
	aims := map[string]string{"trip": "3 ms at 1 M", "load": "30 ms at 1 M", "case": "20 ms at 1 M"}
	for _, of := range []string{"trip", "load", "case"} {
		var p50, p99 [2][]float64
		for round := range b.rounds {
			for side, c := range servers {
				times, err := c.histories(ctx, of, b.records, round)
				if err != nil {
					return err
				}
				p50[side], p99[side] = append(p50[side], percentile(times, 50)), append(p99[side], percentile(times, 99))
			}
		}
		by := b.without("web service over PostgreSQL, stored rows and verdict")
		what := fmt.Sprintf("history of a %s out of %s records, over HTTP: ", of, figure(float64(b.records)))
		b.table.add(row{what + "p50, ms", p50[0], p50[1], by, ""})
		b.table.add(row{what + "p99, ms", p99[0], p99[1], by, aims[of]})
	}
	return nil
}

// histories asks for two hundred, all over the ledger.
func (c *child) histories(ctx context.Context, of string, records, round int) ([]float64, error) {
	const questions, apart = 200, 7919
	turns := max(1, records/departmentsOfBulk/stepsOfTurn)
	var out []float64
	for i := range questions {
		k := (round*questions + i) * apart
		d := department{n: k % departmentsOfBulk}
		turn := k / departmentsOfBulk % turns
		asked := url.Values{}
		switch of {
		case "case":
			asked.Set("case", d.caseOf(turn))
		case "load":
			asked.Set("load", d.loadOf(turn))
		case "trip":
			trip, err := c.tripOf(ctx, d.caseOf(turn))
			if err != nil {
				return nil, err
			}
			asked.Set("trip", trip)
		}
		begun := time.Now()
		raw, err := get(ctx, http.DefaultClient, c.url+"/api/history?"+asked.Encode())
		if err != nil {
			return nil, err
		}
		out = append(out, float64(time.Since(begun))/float64(time.Millisecond))
		var h struct{ Events, Verdicts []json.RawMessage }
		if err := json.Unmarshal(raw, &h); err != nil {
			return nil, err
		}
		if len(h.Events) == 0 || len(h.Verdicts) != 1 {
			return nil, fmt.Errorf("%s: %d events, %d verdicts", asked.Encode(), len(h.Events), len(h.Verdicts))
		}
	}
	return out, nil
}

// tripOf is a trip of a case, as the server names it.
func (c *child) tripOf(ctx context.Context, caseName string) (string, error) {
	raw, err := get(ctx, http.DefaultClient, c.url+"/api/history?case="+caseName)
	if err != nil {
		return "", err
	}
	var h struct {
		Events []struct {
			Trip json.RawMessage `json:"trip"`
		} `json:"events"`
	}
	if err := json.Unmarshal(raw, &h); err != nil {
		return "", err
	}
	for _, e := range h.Events {
		if t := strings.Trim(string(e.Trip), `"`); t != "" && t != "null" {
			return t, nil
		}
	}
	return "", fmt.Errorf("case %s has no trip", caseName)
}
