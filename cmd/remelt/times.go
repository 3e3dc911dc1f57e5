package main

import (
	"context"
	"strings"
	"time"

	"google.golang.org/protobuf/types/known/timestamppb"
)

// showTime writes a moment in the shop's time zone.
func (u units) showTime(t *timestamppb.Timestamp) string {
	if t == nil {
		return ""
	}
	return t.AsTime().In(u.zone).Format("2006-01-02 15:04")
}

// day is what a date without a time stands for.
type day int

const (
	noon     day = iota // a fact of that day
	dayStart            // from that day on
	dayEnd              // up to the end of that day
)

var layouts = []string{"2006-01-02 15:04", "2006-01-02 15:04:05", "2006-01-02T15:04", "2006-01-02T15:04:05"}

// readTime reads a moment as typed, in the shop's time zone unless it says its own.
// nil for "".
func (a *app) readTime(ctx context.Context, flag, typed string, alone day) (*timestamppb.Timestamp, error) {
	typed = strings.TrimSpace(typed)
	if typed == "" {
		return nil, nil
	}
	if t, err := time.Parse(time.RFC3339, typed); err == nil {
		return timestamppb.New(t), nil
	}
	u, err := a.units(ctx)
	if err != nil {
		return nil, err
	}
	for _, layout := range layouts {
		if said, err := time.Parse(layout, typed); err == nil {
			t, is := shown(u.zone, said, said)
			if !is {
				return nil, notShown(u.zone, flag, typed)
			}
			return timestamppb.New(t), nil
		}
	}
	if t, err := time.ParseInLocation("2006-01-02", typed, u.zone); err == nil {
		switch alone {
		case noon:
			t = t.Add(12 * time.Hour)
		case dayEnd:
			t = t.AddDate(0, 0, 1).Add(-time.Millisecond)
		}
		return timestamppb.New(t), nil
	}
	if clock, err := time.Parse("15:04", typed); err == nil {
		t, is := shown(u.zone, a.now().In(u.zone), clock)
		if !is {
			return nil, notShown(u.zone, flag, typed)
		}
		return timestamppb.New(t), nil
	}
	return nil, usagef("%s %q: must be a time of the shop such as \"2026-03-02 14:00\", 14:00 for today, or 2026-03-02", flag, typed)
}

// shown is the moment at which a clock in zone shows a day and a time. Where clocks are put
// forward some are never shown, for which the library takes another.
func shown(zone *time.Location, day, clock time.Time) (time.Time, bool) {
	t := time.Date(day.Year(), day.Month(), day.Day(), clock.Hour(), clock.Minute(), clock.Second(), clock.Nanosecond(), zone)
	return t, t.Hour() == clock.Hour() && t.Minute() == clock.Minute()
}

func notShown(zone *time.Location, flag, typed string) error {
	return usagef("%s %q: there was no such time in %s, whose clocks were put forward over it", flag, typed, zone)
}
