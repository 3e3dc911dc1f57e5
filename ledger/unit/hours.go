package unit

import "strconv"

// MaxMinutes is the longest time of work read: 10 000 hours.
const MaxMinutes int64 = 600_000

// hours holds the sizes in minutes.
var hours = kind{
	name: "time", most: MaxMinutes, mostText: "10000 h",
	measures: []measure{
		{symbol: "h", size: exact("60"), decimals: 2, smaller: "min", names: []string{"hr", "hrs", "hour", "hours"}},
		{symbol: "min", size: exact("1"), decimals: 0, names: []string{"mins", "minute", "minutes"}},
	},
}

// ParseHours reads a time of work as typed, such as "2.5", "2.5 h", "2 h 30 min" or
// "45 min", and gives the nearest minute, half to even. A bare number is hours.
// Refusals are an [*Error].
func ParseHours(text string) (minutes int64, err error) { return hours.parse(text, "h") }

// FormatHours writes a time of work: "2 h 30 min", "45 min", "3 h".
func FormatHours(minutes int64) string {
	h, m := minutes/60, minutes%60
	switch {
	case h == 0:
		return strconv.FormatInt(m, 10) + " min"
	case m == 0:
		return strconv.FormatInt(h, 10) + " h"
	}
	return strconv.FormatInt(h, 10) + " h " + strconv.FormatInt(m, 10) + " min"
}
