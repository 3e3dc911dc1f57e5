package main

import (
	"fmt"
	"path/filepath"

	"github.com/spf13/cobra"

	"example.org/remelt/server/authority"
)

func (a *app) tlsCommand() *cobra.Command {
	return group("tls", "What the server needs to be reached from other machines", a.tlsInitCommand())
}

func (a *app) tlsInitCommand() *cobra.Command {
	var dir string
	c := &cobra.Command{Use: "init NAME...", Short: "Make a private authority and a certificate for these host names or addresses",
		Long: `Make a private authority and a certificate for these host names or addresses: those
under which phones and other machines reach the server. The authority may vouch for
these names only. Said again in the same folder it makes the next certificate by the
same authority, so that phones need nothing new; a running server takes it up by itself.

Each phone has to be told once to trust the authority; the server's page /trust says
how. authority.key is needed for the next certificate only: keep it where others
cannot read it.`,
		Example: "  remelt tls init foundry.local 192.168.1.20 --dir tls", ValidArgsFunction: cobra.NoFileCompletions,
		Args: atLeast("NAME")}
	c.Flags().StringVar(&dir, "dir", "tls", "the folder to put them in")
	must(c.MarkFlagDirname("dir"))
	c.RunE = func(_ *cobra.Command, names []string) error {
		m, err := authority.Make(dir, names, a.now())
		if err != nil {
			return err
		}
		whose := "by the authority that was there"
		if m.NewCA {
			whose = "by a new authority"
		}
		fmt.Fprintf(a.out, "A certificate %s, good until %s. Serve with it:\n\n  remelt serve --http :8443 --grpc :9443 --tls-cert %s --tls-key %s --host %s\n\n",
			whose, m.Server.NotAfter.Format("2006-01-02"), filepath.Join(dir, authority.Server), filepath.Join(dir, authority.ServerKey), names[0])
		url := "https://" + names[0] + ":8443/trust"
		fmt.Fprintf(a.out, "On each phone open %s once; it says how to trust it. The authority's SHA-256\nfingerprint, to compare there:\n\n  %s\n\n", url, m.Fingerprint)
		a.drawCode(a.out, url)
		fmt.Fprintf(a.out, "The command line trusts it with --ca %s (or REMELT_CA).\n", filepath.Join(dir, authority.CA))
		return nil
	}
	return c
}
