package main

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"slices"
	"time"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/checkpoint"
	"example.org/remelt/ledger/sqlite"
)

// heldAgainst is what checkpoints say of a book.
type heldAgainst struct {
	Whole       bool       `json:"whole"`
	Fault       string     `json:"fault,omitempty"`
	Entries     int64      `json:"entries"`
	Agrees      bool       `json:"agrees"`
	ChangedFrom int64      `json:"changedFrom,omitempty"` // the first entry that is not what it was
	ChangedTo   int64      `json:"changedTo,omitempty"`   // lies between these
	Checkpoints []heldNote `json:"checkpoints"`
	wasWhole    *pb.Verification
}

type heldNote struct {
	File    string    `json:"file"`
	Time    time.Time `json:"time"`
	Entries int64     `json:"entries"`
	Agrees  bool      `json:"agrees"`

	checkpoint checkpoint.Checkpoint
}

func (a *app) checkpointCheckCommand() *cobra.Command {
	var key, db string
	c := &cobra.Command{
		Use:   "check FILE... --key KEY.pub",
		Short: "Hold the book against notes that were signed before",
		Long: "Verify the whole book and hold it against notes that were signed before: whether it still\n" +
			"begins with exactly the entries it had then. If not, the entries among which the first\n" +
			"changed one is are named, the closer the more notes there are, and the exit status is 1.\n" +
			"With --db it reads a backup, or the file of a server that is not running, by itself.",
		Args: atLeast("FILE"),
	}
	c.Flags().StringVar(&key, "key", "", "the file with the public key")
	c.Flags().StringVar(&db, "db", "", "read this file instead of asking the server")
	c.RunE = func(c *cobra.Command, args []string) error {
		notes, err := readNotes(args, key)
		if err != nil {
			return err
		}
		h, err := a.holdAgainst(c.Context(), notes, db)
		if err != nil {
			return err
		}
		if a.json() {
			err = json.NewEncoder(a.out).Encode(h)
		} else {
			p := a.page(units{})
			p.held(h)
			err = p.Flush()
		}
		if err == nil && !(h.Whole && h.Agrees) {
			err = statusError(exitUnexpected)
		}
		return err
	}
	return c
}

func readNotes(files []string, key string) ([]heldNote, error) {
	if key == "" {
		return nil, usagef("say with --key which public key the notes are to be signed with")
	}
	public, err := os.ReadFile(key)
	if err != nil {
		return nil, noKey(key, err)
	}
	var notes []heldNote
	for _, file := range files {
		raw, err := os.ReadFile(file)
		if errors.Is(err, fs.ErrNotExist) {
			return nil, &ledger.Error{Class: ledger.ErrNotFound, Reason: "NO_SUCH_FILE", Field: "FILE", Value: file, Want: "no file there"}
		}
		if err != nil {
			return nil, err
		}
		at, err := checkpoint.Open(raw, string(public))
		var refused *ledger.Error
		if errors.As(err, &refused) && refused.Value == "" {
			if refused.Value = file; refused.Field == "key" {
				refused.Value = key
			}
		}
		if err != nil {
			return nil, err
		}
		notes = append(notes, heldNote{File: file, Time: at.Time, Entries: at.Entries, checkpoint: at})
	}
	slices.SortStableFunc(notes, func(x, y heldNote) int { return int(x.Entries - y.Entries) })
	return notes, nil
}

// holdAgainst verifies the server's book, or the one in the file db, and compares
// it with each note.
func (a *app) holdAgainst(ctx context.Context, notes []heldNote, db string) (heldAgainst, error) {
	if a.shop == "" {
		a.shop = notes[0].checkpoint.Shop
	}
	var v *pb.Verification
	var at func(entries int64) (checkpoint.Checkpoint, error)
	if db != "" {
		if _, err := os.Stat(db); err != nil {
			return heldAgainst{}, &ledger.Error{Class: ledger.ErrNotFound, Reason: "NO_SUCH_FILE", Field: "--db", Value: db, Want: "no file there"}
		}
		store, err := sqlite.Open(ctx, db, sqlite.Options{Readers: 2}) // verifying takes two
		if err != nil {
			return heldAgainst{}, err
		}
		defer store.Close()
		found, err := ledger.Verify(ctx, store, a.shop, nil)
		if err != nil {
			return heldAgainst{}, err
		}
		v = verificationOf(found)
		at = func(n int64) (checkpoint.Checkpoint, error) { return checkpoint.At(ctx, store, a.shop, n) }
	} else {
		cl, parent, err := a.begin(ctx)
		if err != nil {
			return heldAgainst{}, err
		}
		if v, err = a.verified(ctx, cl, parent); err != nil {
			return heldAgainst{}, err
		}
		at = func(n int64) (checkpoint.Checkpoint, error) { return checkpointAt(ctx, cl, parent, n) }
	}
	h := heldAgainst{Whole: v.GetWhole(), Fault: v.GetFault(), Entries: v.GetEntries(), Agrees: true, Checkpoints: notes, wasWhole: v}
	from, to := int64(1), int64(0)
	for i, n := range notes {
		now, err := at(n.Entries)
		if err != nil {
			return h, err
		}
		c, err := n.checkpoint.Compare(now)
		if err != nil {
			return h, err
		}
		notes[i].Agrees = c.Agrees
		from = max(from, c.From)
		if !c.Agrees && (h.Agrees || c.To < to) {
			h.Agrees, to = false, c.To
		}
	}
	if !h.Agrees {
		h.ChangedFrom, h.ChangedTo = min(from, to), to
	}
	return h, nil
}

func verificationOf(v ledger.Verified) *pb.Verification {
	p := &pb.Verification{Whole: v.Fault == nil, Entries: v.Entries, HeadHash: v.Head.String()}
	if v.Fault != nil {
		p.BadSequence, p.Fault = v.Fault.Seq, v.Fault.What
	}
	return p
}

func (p *page) held(h heldAgainst) {
	p.verification(h.wasWhole)
	for _, n := range h.Checkpoints {
		says := "agrees"
		if !n.Agrees {
			says = p.strong("DOES NOT AGREE")
		}
		p.printf("%s: %d entries on %s: %s\n", n.File, n.Entries, n.Time.Format("2006-01-02 15:04 MST"), says)
	}
	if h.Agrees {
		p.printf("The first %d entries are what they were when that was signed.\n", h.Checkpoints[len(h.Checkpoints)-1].Entries)
		return
	}
	which := fmt.Sprintf("entry %d", h.ChangedTo)
	if h.ChangedFrom != h.ChangedTo {
		which = fmt.Sprintf("one of the entries %d to %d", h.ChangedFrom, h.ChangedTo)
	}
	p.printf("%s the first that is not what it was is %s.\n", p.strong("THE BOOK WAS CHANGED:"), which)
}
