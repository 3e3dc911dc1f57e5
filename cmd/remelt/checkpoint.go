package main

import (
	"context"
	"io"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
	"example.org/remelt/ledger"
	"example.org/remelt/ledger/checkpoint"
)

func (a *app) checkpointCommand() *cobra.Command {
	c := &cobra.Command{
		Use:   "checkpoint",
		Short: "Signed notes of where the book stands, to be kept elsewhere",
		Long: "Signed notes of where the book stands, to be kept elsewhere. verify finds what was changed\n" +
			"in a book; only a note that was kept where the book is not can find that a whole book was\n" +
			"written again with fitting hashes, or lost its end. Keep the private key apart too:\n" +
			"whoever has it can sign a note for any book.",
		Example: "  remelt checkpoint key shop.key\n" +
			"  remelt checkpoint make 2026-03.note --key shop.key\n" +
			"  remelt checkpoint check 2026-01.note 2026-02.note 2026-03.note --key shop.key.pub",
	}
	c.AddCommand(a.checkpointKeyCommand(), a.checkpointMakeCommand(), a.checkpointCheckCommand())
	return c
}

func (a *app) checkpointMakeCommand() *cobra.Command {
	var key string
	var overwrite bool
	c := &cobra.Command{
		Use:   "make FILE --key KEY",
		Short: "Verify the book and write a signed note of where it stands",
		Long: "Verify the whole book, then write a signed note of where it stands. A damaged book gets\n" +
			"none, and the exit status is 1. The time in the note is this machine's.",
		Args: exactly("FILE"),
	}
	c.Flags().StringVar(&key, "key", "", "the file with the private key, from remelt checkpoint key")
	c.Flags().BoolVar(&overwrite, "overwrite", false, "replace FILE if it is there")
	c.RunE = func(c *cobra.Command, args []string) error {
		private, err := readPrivateKey(key)
		if err != nil {
			return err
		}
		cl, parent, err := a.begin(c.Context())
		if err != nil {
			return err
		}
		v, err := a.verified(c.Context(), cl, parent)
		if err != nil {
			return err
		}
		if !v.GetWhole() {
			if err := a.show(c.Context(), v, func(p *page) { p.verification(v) }); err != nil {
				return err
			}
			return statusError(exitUnexpected)
		}
		at, err := checkpointAt(c.Context(), cl, parent, v.GetEntries())
		if err != nil {
			return err
		}
		if at.Head.String() != v.GetHeadHash() || at.Entries != v.GetEntries() {
			return &ledger.Error{Class: ledger.ErrCorrupt, Reason: "BOOK_DAMAGED", Want: "what the server says of its book is not what it verified"}
		}
		at.Time = a.now().UTC()
		signed, err := checkpoint.Sign(at, private)
		if err != nil {
			return err
		}
		if err := writeFile(args[0], overwrite, func(w io.Writer) error { _, err := w.Write(signed); return err }); err != nil {
			return err
		}
		return a.show(c.Context(), v, func(p *page) {
			p.verification(v)
			p.printf("%s is a signed note of it. Keep it where the book is not.\n", args[0])
		})
	}
	return c
}

// verified has the server verify its book.
func (a *app) verified(ctx context.Context, cl *client.Client, parent string) (*pb.Verification, error) {
	told, end := a.progress("verify")
	defer end()
	return cl.Verify(ctx, parent, told)
}

// checkpointAt asks the server where its book stood when it had so many entries.
func checkpointAt(ctx context.Context, cl *client.Client, parent string, entries int64) (checkpoint.Checkpoint, error) {
	r, err := cl.Shops.GetCheckpoint(ctx, &pb.GetCheckpointRequest{Name: parent + "/checkpoint", Entries: entries})
	if err != nil {
		return checkpoint.Checkpoint{}, err
	}
	p := r.GetCheckpoint()
	at := checkpoint.Checkpoint{Shop: last(parent), Entries: p.GetEntries()}
	if at.Head, err = ledger.ParseHash(p.GetHeadHash()); err != nil {
		return at, err
	}
	for _, m := range p.GetMarks() {
		hash, err := ledger.ParseHash(m.GetHash())
		if err != nil {
			return at, err
		}
		at.Marks = append(at.Marks, checkpoint.Mark{Entry: m.GetSequence(), Hash: hash})
	}
	return at, nil
}
