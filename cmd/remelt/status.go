package main

import (
	"encoding/json"
	"fmt"
	"runtime"
	"runtime/debug"

	"github.com/spf13/cobra"
	healthpb "google.golang.org/grpc/health/grpc_health_v1"

	pb "example.org/remelt/api/remelt/v1"
)

// version is that of the build.
func version() string {
	if b, ok := debug.ReadBuildInfo(); ok && b.Main.Version != "" {
		return b.Main.Version
	}
	return "(devel)"
}

func (a *app) versionCommand() *cobra.Command {
	return &cobra.Command{
		Use: "version", Short: "Show the version of this program", Args: cobra.NoArgs,
		RunE: func(*cobra.Command, []string) error { return a.showVersion() },
	}
}

func (a *app) showVersion() error {
	if a.json() {
		return json.NewEncoder(a.out).Encode(map[string]string{"name": "remelt", "version": version(), "api": "v1", "go": runtime.Version()})
	}
	_, err := fmt.Fprintf(a.out, "remelt %s, api v1, %s\n", version(), runtime.Version())
	return err
}

func (a *app) statusCommand() *cobra.Command {
	return &cobra.Command{
		Use: "status", Short: "Ask the server how it is, and how far each book has come", Args: cobra.NoArgs,
		RunE: func(c *cobra.Command, _ []string) error {
			ctx := c.Context()
			cl, err := a.dial()
			if err != nil {
				return err
			}
			h, err := healthpb.NewHealthClient(cl.Conn).Check(ctx, &healthpb.HealthCheckRequest{})
			if err != nil {
				return err
			}
			state := "takes writes"
			if h.GetStatus() != healthpb.HealthCheckResponse_SERVING {
				state = "does not take writes now; its log says why"
			}
			r, err := cl.Shops.ListShops(ctx, &pb.ListShopsRequest{PageSize: 1000})
			if err != nil {
				return err
			}
			type book struct {
				Shop  string `json:"shop"`
				Name  string `json:"displayName"`
				Last  int64  `json:"lastEntry,string"`
				When  string `json:"recordedTime"`
				Hash  string `json:"hash"`
				shown string
			}
			var books []book
			for _, s := range r.GetShops() {
				e, err := cl.Entries.ListEntries(ctx, &pb.ListEntriesRequest{Parent: s.GetName(), OrderBy: "sequence desc", PageSize: 1})
				if err != nil {
					return err
				}
				b := book{Shop: last(s.GetName()), Name: s.GetDisplayName()}
				if all := e.GetEntries(); len(all) > 0 {
					b.Last, b.Hash, b.When = all[0].GetSequence(), all[0].GetHash(), all[0].GetRecordedTime().AsTime().Format("2006-01-02T15:04:05.000Z07:00")
					b.shown = zoned(s).showTime(all[0].GetRecordedTime())
				}
				books = append(books, b)
			}
			if a.json() {
				if err := json.NewEncoder(a.out).Encode(map[string]any{"server": a.address, "serving": h.GetStatus() == healthpb.HealthCheckResponse_SERVING, "books": books}); err != nil {
					return err
				}
			} else {
				fmt.Fprintf(a.out, "The server at %s %s.\n", a.address, state)
				t := newTable("SHOP", "NAME", ">ENTRIES", "LAST RECORDED")
				for _, b := range books {
					t.add(b.Shop, b.Name, itoa(b.Last), b.shown)
				}
				if len(books) > 0 {
					t.write(a.out)
				} else {
					fmt.Fprintln(a.out, "It keeps no book yet; open one with remelt set shop ID NAME.")
				}
			}
			if h.GetStatus() != healthpb.HealthCheckResponse_SERVING {
				return statusError(exitUnavailable)
			}
			return nil
		},
	}
}
