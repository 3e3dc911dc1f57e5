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
		if t, err := time.ParseInLocation(layout, typed, u.zone); err == nil {
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
	if t, err := time.ParseInLocation("15:04", typed, u.zone); err == nil {
		now := a.now().In(u.zone)
		return timestamppb.New(time.Date(now.Year(), now.Month(), now.Day(), t.Hour(), t.Minute(), 0, 0, u.zone)), nil
	}
	return nil, usagef("%s %q: must be a time of the shop such as \"2026-03-02 14:00\", 14:00 for today, or 2026-03-02", flag, typed)
}
