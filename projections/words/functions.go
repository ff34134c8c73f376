package words

import (
	"errors"
	"fmt"
	"math"
	"reflect"
	"strconv"
	"strings"
	"text/template"
	"time"

	"golang.org/x/text/feature/plural"
	"golang.org/x/text/number"
)

// functions are what a text may call that stands depth inclusions deep.
func (l *Language) functions(depth int) template.FuncMap {
	say := func(key string, args ...any) (string, error) {
		s, _, err := l.say(depth+1, key, args)
		if err != nil {
			return "", fmt.Errorf("%s: %w", key, err)
		}
		return s, nil
	}
	return template.FuncMap{
		"arg": arg, "cat": cat,
		"plural": l.plural, "num": l.num, "kg": l.kg, "weight": l.weight, "abs": abs,
		"time": l.Time, "day": l.Day, "clock": l.Clock, "date": l.Date, "sameDay": l.sameDay,
		"sameMinute": l.sameMinute,
		"duration":   func(d time.Duration) (string, error) { return say("format.duration", split(d)) },
		"list":       func(values ...any) (string, error) { return l.list(depth+1, values) },
		"join":       join, "first": first, "beyond": beyond, "next": next,
		"say": say,
		"each": func(key string, values any) ([]string, error) {
			return each(values, func(v any) (string, error) { return say(key, v) })
		},
		"name": func(prefix string, value any) (string, error) {
			key := fmt.Sprint(prefix, value)
			if t, _ := l.find(key); t == nil {
				return fmt.Sprint(value), nil
			}
			return say(key, value)
		},
		"has": func(key string) bool { t, _ := l.find(key); return t != nil },
	}
}

func arg(args []any, i int) (any, error) {
	if i >= len(args) {
		return nil, fmt.Errorf("the value {%d} was not given, only %d", i, len(args))
	}
	return args[i], nil
}

func cat(values ...any) string {
	var b strings.Builder
	for _, v := range values {
		fmt.Fprint(&b, v)
	}
	return b.String()
}

// whole reads an integer of any type.
func whole(n any) (int64, error) {
	switch v := reflect.ValueOf(n); {
	case v.CanInt():
		return v.Int(), nil
	case v.CanUint() && v.Uint() <= math.MaxInt64:
		return int64(v.Uint()), nil
	}
	return 0, fmt.Errorf("%v (%T) is not a whole number", n, n)
}

func abs(n any) (int64, error) {
	i, err := whole(n)
	return max(i, -i), err
}

// formNames are the CLDR plural categories.
var formNames = map[plural.Form]string{plural.Zero: "zero", plural.One: "one", plural.Two: "two",
	plural.Few: "few", plural.Many: "many", plural.Other: "other"}

func (l *Language) form(n int64) string {
	// The rules look at the last six digits at most.
	const cycle = 1_000_000
	if n = max(n, -n); n >= cycle {
		n = cycle + n%cycle
	}
	return formNames[plural.Cardinal.MatchPlural(l.lang, int(n), 0, 0, 0, 0)]
}

func (l *Language) plural(n any, forms ...string) (string, error) {
	i, err := whole(n)
	if err != nil {
		return "", fmt.Errorf("plural: %w", err)
	}
	want, other := l.form(i), -1
	for at := 0; at+1 < len(forms); at += 2 {
		switch forms[at] {
		case want:
			return forms[at+1], nil
		case "other":
			other = at + 1
		}
	}
	if other < 0 {
		return "", fmt.Errorf("plural: no text for %q, and none for other", want)
	}
	return forms[other], nil
}

func (l *Language) num(n any) (string, error) {
	if v := reflect.ValueOf(n); !v.CanInt() && !v.CanUint() && !v.CanFloat() {
		return "", fmt.Errorf("num: %v (%T) is not a number", n, n)
	}
	return l.printer.Sprint(number.Decimal(n)), nil
}

// Num writes a whole number with the language's digits and grouping.
func (l *Language) Num(n int64) string { return l.printer.Sprint(number.Decimal(n)) }

// Figures writes a number with so many of its digits, not counting zeros before them. It
// rounds itself: number.Precision makes 0.1 of 0.9999.
func (l *Language) Figures(v float64, digits int) string {
	text := strconv.FormatFloat(v, 'e', digits-1, 64)
	rounded, err := strconv.ParseFloat(text, 64)
	power, err2 := strconv.Atoi(text[strings.IndexByte(text, 'e')+1:])
	if err != nil || err2 != nil { // no number, or an endless one
		return strconv.FormatFloat(v, 'g', digits, 64)
	}
	return l.printer.Sprint(number.Decimal(rounded, number.MaxFractionDigits(max(0, digits-1-power))))
}

func (l *Language) kg(grams any) (string, error) {
	g, err := whole(grams)
	return l.Kg(g), err
}

// weight writes a weight, and one beside another with as many decimals as it takes
// to show that the two differ: a set a gram too heavy has not the weight allowed.
func (l *Language) weight(grams any, beside ...any) (string, error) {
	g, err := whole(grams)
	if err != nil {
		return "", err
	}
	for _, b := range beside {
		other, err := whole(b)
		if err != nil {
			return "", err
		}
		if g != other && l.WeightNumber(g) == l.WeightNumber(other) {
			return l.weightNumber(g, 3) + " " + l.WeightUnit(), nil
		}
	}
	return l.Weight(g), nil
}

// Kg writes a weight in kilograms with two decimals, without the unit.
func (l *Language) Kg(grams int64) string {
	return l.printer.Sprint(number.Decimal(float64(grams)/1000, number.Scale(2), number.NoSeparator()))
}

// Weight writes a weight with two decimals and its unit, which is that of the place.
func (l *Language) Weight(grams int64) string {
	return l.WeightNumber(grams) + " " + l.WeightUnit()
}

// WeightUnit is the place's unit of weight, kg or lb.
func (l *Language) WeightUnit() string {
	if l.catalogue.local.Pounds {
		return "lb"
	}
	return "kg"
}

// WeightNumber writes a weight in the place's unit, without it.
func (l *Language) WeightNumber(grams int64) string {
	return l.weightNumber(grams, 2)
}

func (l *Language) weightNumber(grams int64, decimals int) string {
	unit := 1000.0
	if l.catalogue.local.Pounds {
		unit = gramsPerPound
	}
	return l.printer.Sprint(number.Decimal(float64(grams)/unit, number.Scale(decimals), number.NoSeparator()))
}

// Zone is where the times are that are shown; nil shows each in its own.
func (l *Language) Zone() *time.Location { return l.zone }

// Time writes a moment by format.time.
func (l *Language) Time(t time.Time) string { return l.Date("format.time", t) }

// Day writes the day of a moment by format.day.
func (l *Language) Day(t time.Time) string { return l.Date("format.day", t) }

// Clock writes the time of day of a moment by format.clock.
func (l *Language) Clock(t time.Time) string { return l.Date("format.clock", t) }

// Date writes a moment by the layout in an entry.
func (l *Language) Date(key string, t time.Time) string {
	layout, in := l.find(key)
	if layout == nil {
		l.failed(nil, key, ErrNoText)
		return l.zoned(t).Format(time.RFC3339)
	}
	return in.layout(layout.source, l.zoned(t))
}

func (l *Language) zoned(t time.Time) time.Time {
	if l.zone == nil {
		return t
	}
	return t.In(l.zone)
}

// layout is Format with the language's own month names.
func (l *Language) layout(layout string, t time.Time) string {
	i := strings.Index(layout, "Jan")
	if i < 0 {
		return t.Format(layout)
	}
	key, word := "format.months-short", "Jan"
	if strings.HasPrefix(layout[i:], "January") {
		key, word = "format.months", "January"
	}
	name := word
	if names, _ := l.find(key); names != nil {
		if all := strings.Fields(names.source); len(all) == 12 {
			name = all[t.Month()-1]
		}
	}
	return t.Format(layout[:i]) + name + t.Format(layout[i+len(word):])
}

func (l *Language) sameMinute(t, u time.Time) bool {
	return t.Truncate(time.Minute).Equal(u.Truncate(time.Minute))
}

func (l *Language) sameDay(t, u time.Time) bool {
	return l.zoned(t).Format(time.DateOnly) == l.zoned(u).Format(time.DateOnly)
}

// parts is what format.duration is said of: a language writes days and the hours
// beside them (DayHours), or Hours alone.
type parts struct{ Hours, Minutes, Seconds, Days, DayHours int64 }

func split(d time.Duration) parts {
	const day = 24 * time.Hour
	d = d.Round(time.Second)
	return parts{
		Hours: int64(d / time.Hour), Minutes: int64(d % time.Hour / time.Minute),
		Seconds: int64(d % time.Minute / time.Second), Days: int64(d / day), DayHours: int64(d % day / time.Hour),
	}
}

// items takes a slice of any type apart.
func items(values any) ([]any, error) {
	v := reflect.ValueOf(values)
	if !v.IsValid() {
		return nil, nil
	}
	if k := v.Kind(); k != reflect.Slice && k != reflect.Array {
		return nil, fmt.Errorf("%v (%T) is not a list", values, values)
	}
	out := make([]any, v.Len())
	for i := range out {
		out[i] = v.Index(i).Interface()
	}
	return out, nil
}

func each(values any, say func(any) (string, error)) ([]string, error) {
	all, err := items(values)
	out := make([]string, len(all))
	for i, v := range all {
		if out[i], err = say(v); err != nil {
			return nil, err
		}
	}
	return out, err
}

func shown(v any) (string, error) { return fmt.Sprint(v), nil }

// list joins the values of one slice, or the arguments themselves.
func (l *Language) list(depth int, values []any) (string, error) {
	var all any = values
	if len(values) == 1 {
		if k := reflect.ValueOf(values[0]).Kind(); k == reflect.Slice || k == reflect.Array {
			all = values[0]
		}
	}
	s, err := each(all, shown)
	if err != nil || len(s) == 0 {
		return "", err
	}
	out := s[0]
	for i, next := range s[1:] {
		key := "format.list-middle"
		switch {
		case len(s) == 2:
			key = "format.list-two"
		case i == len(s)-2:
			key = "format.list-end"
		}
		if out, _, err = l.say(depth, key, []any{out, next}); err != nil {
			return "", fmt.Errorf("%s: %w", key, err)
		}
	}
	return out, nil
}

// List writes values with the language's commas and "and".
func (l *Language) List(values []string) string {
	s, err := l.list(0, []any{values})
	if err != nil {
		l.failed(nil, "format.list", err)
		return strings.Join(values, ", ")
	}
	return s
}

func join(sep string, values any) (string, error) {
	s, err := each(values, shown)
	return strings.Join(s, sep), err
}

func first(n int, values any) ([]any, error) {
	all, err := items(values)
	return all[:min(max(n, 0), len(all))], err
}

func beyond(n int, values any) (int, error) {
	all, err := items(values)
	return max(len(all)-max(n, 0), 0), err
}

func next(values any, i int) (any, error) {
	all, err := items(values)
	switch {
	case err != nil:
		return nil, err
	case i < 0 || i >= len(all):
		return nil, errors.New("next: the list has no such place")
	}
	return all[(i+1)%len(all)], nil
}
