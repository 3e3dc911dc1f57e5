package main

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
)

func (a *app) entriesCommand() *cobra.Command {
	return group("entries", "Read the book itself, line by line, or as it is written", a.entriesListCommand(), a.entriesShowCommand(), a.entriesWatchCommand())
}

func (a *app) entriesListCommand() *cobra.Command {
	var most int
	var oldest bool
	c := &cobra.Command{Use: "list", Short: "List entries, newest first", Args: cobra.NoArgs}
	c.Flags().IntVar(&most, "most", 20, "how many")
	c.Flags().BoolVar(&oldest, "oldest", false, "oldest first")
	noFiles(c, "most")
	c.RunE = func(c *cobra.Command, _ []string) error {
		if most < 1 {
			return usagef("--most %d: must be at least 1", most)
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		order := "sequence desc"
		if oldest {
			order = "sequence"
		}
		var all []*pb.Entry
		err = client.Pages(func(token string) (string, error) {
			r, err := cl.Entries.ListEntries(c.Context(), &pb.ListEntriesRequest{Parent: parent, OrderBy: order, PageToken: token, PageSize: int32(min(most-len(all), 1000))}) //nolint:gosec // at most 1000
			all = append(all, r.GetEntries()...)
			if len(all) >= most {
				return "", err
			}
			return r.GetNextPageToken(), err
		})
		if err != nil {
			return err
		}
		return showEach(c.Context(), a, all, func(p *page) { p.entryTable(all, movedBy) })
	}
	return c
}

// entryTable lists entries; moved says what each moved.
func (p *page) entryTable(all []*pb.Entry, moved func(*pb.Entry) string) {
	if len(all) == 0 {
		p.printf("No entries.\n")
		return
	}
	t := newTable(">ENTRY", "HAPPENED", "WHAT", "WHO", "MOVED", "NOTE")
	for _, e := range all {
		t.add(itoa(e.GetSequence()), p.showTime(e.GetHappenedTime()), e.GetKind(), e.GetWho(), moved(e), noteOf(e))
	}
	t.write(p)
}

// movedBy says in short what an entry moved: what went in to where.
func movedBy(e *pb.Entry) string {
	var out []string
	for _, m := range e.GetPostings() {
		if m.GetMass().GetMg() > 0 {
			out = append(out, m.GetMass().GetText()+" to "+accountWords(m.GetAccount()))
		} else if m.GetPieces() > 0 {
			out = append(out, plural(int(m.GetPieces()), "piece")+" to "+accountWords(m.GetAccount()))
		}
	}
	if len(out) == 0 {
		for _, ch := range e.GetChanges() {
			out = append(out, ch.GetKind()+" "+ch.GetId())
		}
	}
	if len(out) > 3 {
		out = append(out[:2], fmt.Sprintf("and %d more", len(out)-2))
	}
	return strings.Join(out, ", ")
}

func noteOf(e *pb.Entry) string {
	var out []string
	if e.GetReverses() != "" {
		out = append(out, "takes back entry "+last(e.GetReverses()))
	}
	if e.GetReversedBy() != "" {
		out = append(out, "taken back by entry "+last(e.GetReversedBy()))
	}
	for _, f := range e.GetFlags() {
		out = append(out, f.GetCode())
	}
	if e.GetReason() != "" {
		out = append(out, e.GetReason())
	}
	return strings.Join(out, "; ")
}

// entryName is the resource name of an entry typed as its number.
func entryName(parent, typed string) (string, error) {
	if n, err := strconv.ParseInt(last(typed), 10, 64); err != nil || n < 1 {
		return "", usagef("%q: must be the number of an entry", typed)
	}
	return named(parent, "entries", typed), nil
}

func (a *app) entriesShowCommand() *cobra.Command {
	return &cobra.Command{
		Use: "show ENTRY", Short: "Show all of one entry", Args: exactly("ENTRY"),
		ValidArgsFunction: cobra.NoFileCompletions,
		RunE: func(c *cobra.Command, args []string) error {
			cl, parent, err := a.begin(c.Context())
			if err != nil {
				return err
			}
			name, err := entryName(parent, args[0])
			if err != nil {
				return err
			}
			r, err := cl.Entries.GetEntry(c.Context(), &pb.GetEntryRequest{Name: name, View: pb.EntryView_ENTRY_VIEW_FULL})
			if err != nil {
				return err
			}
			return a.show(c.Context(), r.GetEntry(), func(p *page) { p.entry(r.GetEntry()) })
		},
	}
}

func (p *page) entry(e *pb.Entry) {
	p.printf("Entry %d: %s\n", e.GetSequence(), e.GetKind())
	t := newTable("", "")
	row := func(name, value string) {
		if value != "" {
			t.add("  "+name, value)
		}
	}
	row("happened", p.showTime(e.GetHappenedTime()))
	row("recorded", p.showTime(e.GetRecordedTime()))
	row("who", e.GetWho())
	row("device", e.GetDevice())
	row("reason", e.GetReason())
	if e.GetReverses() != "" {
		row("takes back", "entry "+last(e.GetReverses()))
	}
	if e.GetReversedBy() != "" {
		row("taken back", "by entry "+last(e.GetReversedBy()))
	}
	row("request", e.GetRequestId())
	row("hash", e.GetHash())
	t.write(p)
	p.flags(e.GetFlags(), "")
	if len(e.GetPostings()) > 0 {
		t := newTable("WHERE", ">AMOUNT", "KNOWN")
		for _, m := range e.GetPostings() {
			amount := m.GetMass().GetText()
			if m.GetMass() == nil {
				amount = plural(int(m.GetPieces()), "piece")
			}
			t.add(accountWords(m.GetAccount()), amount, word(m.GetBasis()))
		}
		t.write(p)
	}
	for _, w := range e.GetWeighings() {
		p.printf("weighed %s: %s\n", accountWords(w.GetSubject()), weighingText(w))
	}
	for _, ch := range e.GetChanges() {
		p.printf("%s %s is now %s\n", ch.GetKind(), ch.GetId(), contentWords(ch.GetContent()))
	}
	for _, cost := range e.GetCosts() {
		p.printf("cost of %s: %s\n", accountWords(cost.GetAccount()), cost.GetMoney().GetText())
	}
}

// weighingText is a weighing as it was typed.
func weighingText(w *pb.Weighing) string {
	var out []string
	add := func(name string, m *pb.Mass) {
		if m.GetTyped() != "" {
			out = append(out, name+" "+m.GetTyped())
		} else if m.GetMg() != 0 {
			out = append(out, name+" "+m.GetText())
		}
	}
	add("gross", w.GetGross())
	add("tare", w.GetTare())
	add("before", w.GetBefore())
	add("net", w.GetNet())
	if w.GetDirtPercent() != "" && w.GetDirtPercent() != "0" {
		out = append(out, "dirt "+w.GetDirtPercent()+" %")
	}
	if w.GetPieces() > 0 {
		out = append(out, plural(int(w.GetPieces()), "piece"))
	}
	if w.GetScale() != "" {
		out = append(out, "on "+last(w.GetScale()))
	}
	return strings.Join(out, ", ")
}

func (a *app) entriesWatchCommand() *cobra.Command {
	var after int64
	var most int
	c := &cobra.Command{
		Use: "watch", Short: "Show entries as they are recorded, until interrupted",
		Long: "Show entries as they are recorded, until interrupted. A connection that breaks is made\nagain, and the watch goes on where it was.",
		Args: cobra.NoArgs,
	}
	c.Flags().Int64Var(&after, "after", -1, "begin after this entry, 0 for the whole book; with what is new unless said")
	c.Flags().IntVar(&most, "most", 0, "end after so many entries")
	noFiles(c, "after", "most")
	c.RunE = func(c *cobra.Command, _ []string) error {
		ctx := c.Context()
		cl, parent, err := a.begin(ctx)
		if err != nil {
			return err
		}
		u, err := a.units(ctx)
		if err != nil {
			return err
		}
		if after < 0 {
			r, err := cl.Entries.ListEntries(ctx, &pb.ListEntriesRequest{Parent: parent, OrderBy: "sequence desc", PageSize: 1})
			if err != nil {
				return err
			}
			after = 0
			if len(r.GetEntries()) > 0 {
				after = r.GetEntries()[0].GetSequence()
			}
		}
		enough, shown := errors.New("enough"), 0
		err = cl.Watch(ctx, &pb.WatchEntriesRequest{Parent: parent, AfterSequence: after}, func(m *pb.WatchEntriesResponse) error {
			e := m.GetEntry()
			if e == nil {
				return nil
			}
			var err error
			if a.json() {
				err = writeJSON(a.out, e)
			} else {
				_, err = fmt.Fprintln(a.out, strings.TrimRight(fmt.Sprintf("%d  %s  %s  %s  %s", e.GetSequence(), u.showTime(e.GetHappenedTime()), e.GetKind(), movedBy(e), noteOf(e)), " "))
			}
			if shown++; err == nil && shown == most {
				return enough
			}
			return err
		})
		if errors.Is(err, enough) || errors.Is(ctx.Err(), context.Canceled) {
			return nil // that is how a watch ends
		}
		return err
	}
	return c
}
