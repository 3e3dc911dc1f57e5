package main

import (
	"context"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger/checkpoint"
)

func (a *app) verifyCommand() *cobra.Command {
	var since, key string
	c := &cobra.Command{
		Use:   "verify",
		Short: "Read the whole book on the server and derive everything again",
		Long: "Read the whole book on the server and derive everything again: the numbering, the chain of\n" +
			"hashes, the sum of each entry, every balance. The first bad entry is named, and the exit\n" +
			"status is 1.\n\n" +
			"With --since it reads only what was recorded after a signed note, and takes for right what was\n" +
			"before it and what things weigh now: quick enough for every day, and no substitute.",
		Args: cobra.NoArgs,
	}
	c.Flags().StringVar(&since, "since", "", "a signed note, from remelt checkpoint make")
	c.Flags().StringVar(&key, "key", "", "with --since: the file with the public key")
	c.RunE = func(c *cobra.Command, _ []string) error {
		v, err := a.verifiedSince(c.Context(), since, key)
		if err != nil {
			return err
		}
		if err := a.show(c.Context(), v, func(p *page) { p.verification(v) }); err != nil {
			return err
		}
		if !v.GetWhole() {
			return statusError(exitUnexpected)
		}
		return nil
	}
	return c
}

// verifiedSince has the server verify what came after a signed checkpoint, or all if
// there is none.
func (a *app) verifiedSince(ctx context.Context, since, key string) (*pb.Verification, error) {
	var at checkpoint.Checkpoint
	if since != "" {
		notes, err := readNotes([]string{since}, key)
		if err != nil {
			return nil, err
		}
		if at = notes[0].checkpoint; a.shop == "" {
			a.shop = at.Shop
		}
		if a.shop != at.Shop {
			return nil, usagef("%s is of the book of %s, not of %s", since, at.Shop, a.shop)
		}
	} else if key != "" {
		return nil, usagef("--key is for a checkpoint: say with --since which")
	}
	cl, parent, err := a.begin(ctx)
	if err != nil {
		return nil, err
	}
	if at.Entries == 0 {
		return a.verified(ctx, cl, parent)
	}
	told, end := a.progress("verify")
	defer end()
	return cl.VerifyAfter(ctx, parent, at.Entries, at.Head.String(), told)
}

func (p *page) verification(v *pb.Verification) {
	strong := p.strong
	switch {
	case v.GetWhole() && v.GetAfterSequence() > 0 && v.GetEntries() == v.GetAfterSequence():
		p.printf("Nothing was recorded after entry %d, and it is what it was; its hash is\n  %s\n", v.GetEntries(), v.GetHeadHash())
	case v.GetWhole() && v.GetAfterSequence() > 0:
		p.printf("What was recorded after entry %d is right, and follows from it: up to entry %d, which has hash\n  %s\n", v.GetAfterSequence(), v.GetEntries(), v.GetHeadHash())
	case v.GetAfterSequence() > 0:
		read := fmt.Sprintf("From entry %d on, what is before it is right. What was earlier was not read.", v.GetAfterSequence())
		where := fmt.Sprintf(" at entry %d", v.GetBadSequence())
		switch {
		case v.GetBadSequence() == 0:
			where, read = "", fmt.Sprintf("The entries after entry %d are right; what is kept beside them is not.", v.GetAfterSequence())
		case v.GetEntries() == 0:
			read = "It is the one that the note is about. Nothing else was read: remelt verify reads all."
		}
		p.printf("%s %s\n  %s\n", strong("THE BOOK IS DAMAGED"+where+":"), v.GetFault(), read)
	case v.GetWhole():
		p.printf("The book is whole: %d entries, the last with hash\n  %s\n", v.GetEntries(), v.GetHeadHash())
	case v.GetBadSequence() != 0:
		p.printf("%s entry %d: %s\n  The %d entries before it are right.\n", strong("THE BOOK IS DAMAGED at"), v.GetBadSequence(), v.GetFault(), v.GetEntries())
	default:
		p.printf("%s %s\n  All %d entries are right; what is kept beside them is not.\n", strong("THE BOOK IS DAMAGED:"), v.GetFault(), v.GetEntries())
	}
}

// progress shows how far long work is, on a terminal only. end takes the line away.
func (a *app) progress(what string) (told func(*pb.Progress), end func()) {
	if !onTerminal(a.err) || a.json() {
		return nil, func() {}
	}
	shown := 0
	line := func(s string) {
		fmt.Fprintf(a.err, "\r%s%s", s, strings.Repeat(" ", max(0, shown-len(s))))
		shown = len(s)
	}
	return func(p *pb.Progress) {
			s := fmt.Sprintf("%s: %d %s", what, p.GetDone(), p.GetUnit())
			if p.GetTotal() > 0 {
				s = fmt.Sprintf("%s: %d of %d %s (%d %%)", what, p.GetDone(), p.GetTotal(), p.GetUnit(), 100*p.GetDone()/p.GetTotal())
			}
			line(s)
		}, func() {
			if shown > 0 {
				line("")
				fmt.Fprint(a.err, "\r")
			}
		}
}
