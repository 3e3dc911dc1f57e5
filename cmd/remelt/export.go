package main

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
	"example.org/remelt/server/paper"
)

func (a *app) exportCommand() *cobra.Command {
	var to string
	var overwrite, workbook bool
	c := &cobra.Command{
		Use:   "export entries|" + strings.Join(paper.Tables, "|") + " [FROM [TO]]",
		Short: "Write the book, or a table of it, for other programs",
		Long: `Write the book, or a table of it, for other programs.

entries are all lines of the book with their canonical bytes and hashes, one JSON
object a line: enough to check the chain somewhere else. The others are tables, as
CSV or with --xlsx as a workbook: weights are numbers, exact, in the unit their
heading names; in a workbook dates are dates, by the shop's clock. In CSV, text that
a spreadsheet would take for a formula begins with an apostrophe. period, money and
charge-back, who used how much metal, are of the days, month or year that follow.`,
		Example:   "  remelt export entries --to book.jsonl\n  remelt export stock\n  remelt export postings --xlsx --to postings.xlsx\n  remelt export period 2026-03",
		Args:      atLeast("what"),
		ValidArgs: append([]string{"entries"}, paper.Tables...),
	}
	c.Flags().StringVar(&to, "to", "", "the file to write; standard output unless said")
	c.Flags().BoolVar(&overwrite, "overwrite", false, "replace the file if it is there")
	c.Flags().BoolVar(&workbook, "xlsx", false, "a workbook instead of CSV; also where --to ends in .xlsx")
	c.RunE = func(c *cobra.Command, args []string) error {
		spanned := paper.OfPeriod(args[0])
		workbook = workbook || strings.HasSuffix(strings.ToLower(to), ".xlsx")
		switch {
		case args[0] != "entries" && !slices.Contains(paper.Tables, args[0]):
			return usagef("%q: must be entries, %s", args[0], strings.Join(paper.Tables, ", "))
		case spanned && (len(args) < 2 || len(args) > 3):
			return usagef("say the days, the month or the year: remelt export %s 2026-03", args[0])
		case !spanned && len(args) > 1:
			return usagef("remelt export %s does not know what to do with %q", args[0], args[1])
		case workbook && args[0] == "entries":
			return usagef("entries are lines to check the chain by; remelt export postings --xlsx is the table of them")
		case workbook && a.json():
			return usagef("--xlsx and -o json: a file is one or the other")
		case workbook && to == "" && onTerminal(a.out):
			return usagef("a workbook is no text for a terminal; say a file with --to")
		}
		write := func(w io.Writer) error { return a.exportTable(c.Context(), w, args, workbook) }
		if args[0] == "entries" {
			write = func(w io.Writer) error { return a.exportEntries(c.Context(), w) }
		}
		if to != "" {
			return a.intoFile(to, overwrite, write)
		}
		return write(a.out)
	}
	return c
}

// intoFile writes a file and says so.
func (a *app) intoFile(path string, overwrite bool, write func(io.Writer) error) error {
	if err := writeFile(path, overwrite, write); err != nil {
		return err
	}
	if a.json() {
		return nil
	}
	_, err := fmt.Fprintf(a.out, "%s is written\n", path)
	return err
}

// exportTable writes a table as CSV or a workbook, or with -o json what its rows are
// made of.
func (a *app) exportTable(ctx context.Context, w io.Writer, args []string, workbook bool) error {
	cl, parent, err := a.begin(ctx)
	if err != nil {
		return err
	}
	var when paper.Period
	if len(args) > 1 {
		if when, err = a.readPeriod(ctx, args[1:]); err != nil {
			return err
		}
	}
	t, err := paper.New(cl.Conn, a.now).Table(ctx, parent, args[0], when)
	switch {
	case err != nil:
		return client.FromStatus(err)
	case workbook:
		return t.XLSX(w)
	case !a.json():
		return t.CSV(w)
	}
	for i, m := range t.Messages {
		if i > 0 && m == t.Messages[i-1] {
			continue // an entry has several postings
		}
		if err := writeJSON(w, m); err != nil {
			return err
		}
	}
	return nil
}

// readPeriod reads a period as typed, by the shop's days.
func (a *app) readPeriod(ctx context.Context, args []string) (paper.Period, error) {
	u, err := a.units(ctx)
	if err != nil {
		return paper.Period{}, err
	}
	from, to, err := readSpan(args, u.zone)
	return paper.Period{From: from, To: to}, err
}

func (a *app) exportEntries(ctx context.Context, w io.Writer) error {
	cl, parent, err := a.begin(ctx)
	if err != nil {
		return err
	}
	out := bufio.NewWriter(w)
	told, end := a.progress("export")
	defer end()
	done := int64(0)
	err = client.Pages(func(token string) (string, error) {
		r, err := cl.Entries.ListEntries(ctx, &pb.ListEntriesRequest{Parent: parent, View: pb.EntryView_ENTRY_VIEW_FULL, PageSize: 500, PageToken: token})
		for _, e := range r.GetEntries() {
			if err := writeJSON(out, e); err != nil {
				return "", err
			}
		}
		if done += int64(len(r.GetEntries())); told != nil {
			told(&pb.Progress{Done: done, Unit: "entries"})
		}
		return r.GetNextPageToken(), err
	})
	if err != nil {
		return err
	}
	return out.Flush()
}
