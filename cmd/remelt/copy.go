package main

import (
	"errors"
	"io/fs"
	"os"
	"slices"

	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/ledger"
)

func (a *app) copyCommand() *cobra.Command {
	return &cobra.Command{
		Use:   "copy FROM TO",
		Short: "Copy books between a file and a PostgreSQL database",
		Long: `Copy books between a file and a PostgreSQL database, either way, on this machine and
without a server. FROM and TO are each a file or a URL such as
postgres://user@host/name; a password is better kept in ~/.pgpass or PGPASSWORD than
typed here. All books are copied, or the one that --shop names.

Every entry keeps its bytes and its hash, and the copy is verified when it is there.
If TO has the beginning of a book, the rest is added; another book of the same shop
is left alone. Nobody may write to the book in TO meanwhile, and no server may have
FROM open if it is a file: restore a backup for that.`,
		Example: "  remelt copy remelt.db postgres://keeper@db.example/books\n  remelt copy postgres://keeper@db.example/books new.db --shop harrow",
		Args:    exactly("FROM", "TO"),
		RunE: func(c *cobra.Command, args []string) (err error) {
			ctx := c.Context()
			if _, err := os.Stat(args[0]); !isDatabase(args[0]) && errors.Is(err, fs.ErrNotExist) {
				return &ledger.Error{Class: ledger.ErrNotFound, Reason: "NO_SUCH_FILE", Field: "FROM", Value: args[0], Want: "no file there"}
			}
			from, err := openStore(ctx, args[0])
			if err != nil {
				return err
			}
			defer func() { err = errors.Join(err, from.Close()) }()
			shops, err := from.Shops(ctx)
			if err != nil {
				return err
			}
			if a.shop != "" {
				if !slices.Contains(shops, a.shop) {
					return &ledger.Error{Class: ledger.ErrNotFound, Reason: "NOT_FOUND", Field: "--shop", Value: a.shop, Want: "no book of this shop to copy"}
				}
				shops = []string{a.shop}
			}
			to, err := openStore(ctx, args[1])
			if err != nil {
				return err
			}
			defer func() { err = errors.Join(err, to.Close()) }()
			for _, shop := range shops {
				told, end := a.progress("copy " + shop)
				v, err := ledger.Copy(ctx, from, to, shop, func(done, all int64) {
					if told != nil {
						told(&pb.Progress{Done: done, Total: all, Unit: "entries"})
					}
				})
				end()
				if err != nil {
					return err
				}
				r := &pb.Verification{Whole: true, Entries: v.Entries, HeadHash: v.Head.String()}
				if a.json() {
					if err := writeJSON(a.out, r); err != nil {
						return err
					}
					continue
				}
				p := a.page(units{})
				p.printf("Shop %s in %s: ", shop, storeName(to))
				p.verification(r)
				if err := p.Flush(); err != nil {
					return err
				}
			}
			return nil
		},
	}
}
