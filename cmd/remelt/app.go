package main

import (
	"cmp"
	"context"
	"io"
	"os"
	"time"

	"github.com/mattn/go-isatty"
	"github.com/spf13/cobra"

	pb "example.org/remelt/api/remelt/v1"
	"example.org/remelt/client"
)

// app is one run of the program: its streams, its flags, and the connection it
// makes when a command first needs one.
type app struct {
	in       io.Reader
	out, err io.Writer
	now      func() time.Time

	address, ca, shop, output string // flags that every command has

	began  bool // the command line was understood; what fails now is not its fault
	patch  func(*client.Config)
	client *client.Client
	own    *pb.Shop // the shop's settings
}

func newApp() *app {
	return &app{in: os.Stdin, out: os.Stdout, err: os.Stderr, now: time.Now}
}

// run runs the command line and gives the exit status.
func (a *app) run(ctx context.Context, args []string) int {
	root := a.root()
	root.SetArgs(args)
	root.SetIn(a.in)
	root.SetOut(a.out)
	root.SetErr(a.err)
	err := root.ExecuteContext(ctx)
	if a.client != nil {
		_ = a.client.Close() // nothing is under way any more
	}
	if err != nil && !a.began {
		err = usageError{err}
	}
	return a.report(err)
}

// Groups of commands in the help.
const (
	groupMetal  = "metal"
	groupHeats  = "heats"
	groupAsk    = "ask"
	groupBook   = "book"
	groupSetUp  = "setup"
	groupServer = "server"
)

func (a *app) root() *cobra.Command {
	root := &cobra.Command{
		Use:   "remelt",
		Short: "The metal book of a casting shop",
		Long: "The metal book of a casting shop: what metal is here, where it came from, where it\n" +
			"went in each heat, and what was lost on the way.\n\n" +
			"Weights are typed as they are read off the scale: 12.4 lb, 12 lb 6 oz, 5,2 kg; a bare\n" +
			"number is in the shop's unit. Nothing here says that a charge is safe to melt: local\n" +
			"codes, safety data sheets and licensed practice come first.\n\n" +
			"Where the server wants to know who asks, REMELT_TOKEN holds the secret of a token\n" +
			"(remelt token make).",
		SilenceErrors:     true,
		SilenceUsage:      true,
		PersistentPreRunE: func(*cobra.Command, []string) error { return a.checkOutput() },
	}
	asked := root.Flags().Bool("version", false, "the version of this program")
	root.RunE = func(c *cobra.Command, _ []string) error {
		if *asked {
			return a.showVersion()
		}
		return c.Help()
	}
	f := root.PersistentFlags()
	f.StringVar(&a.address, "server", cmp.Or(os.Getenv("REMELT_SERVER"), "127.0.0.1:9090"), "address of the server (REMELT_SERVER)")
	f.StringVar(&a.shop, "shop", os.Getenv("REMELT_SHOP"), "id of the shop (REMELT_SHOP); the server's only one unless said")
	f.StringVarP(&a.output, "output", "o", "table", "table for people, json for programs")
	f.StringVar(&a.ca, "ca", os.Getenv("REMELT_CA"), "file of those who may vouch for the server, or system: speak TLS with it (REMELT_CA)")
	if flag := f.Lookup("ca"); flag != nil {
		flag.DefValue = ""
	}
	if flag := f.Lookup("server"); flag != nil {
		flag.DefValue = "127.0.0.1:9090" // help is the same everywhere
	}
	if flag := f.Lookup("shop"); flag != nil {
		flag.DefValue = ""
	}
	must(root.RegisterFlagCompletionFunc("output", cobra.FixedCompletions([]string{"table", "json"}, cobra.ShellCompDirectiveNoFileComp)))
	must(root.RegisterFlagCompletionFunc("shop", a.completeShops))
	root.AddGroup(
		&cobra.Group{ID: groupMetal, Title: "Metal in stock:"},
		&cobra.Group{ID: groupHeats, Title: "Heats and castings:"},
		&cobra.Group{ID: groupAsk, Title: "What the weighings say:"},
		&cobra.Group{ID: groupBook, Title: "The book:"},
		&cobra.Group{ID: groupSetUp, Title: "Setting up:"},
		&cobra.Group{ID: groupServer, Title: "The server and its file:"},
	)
	add := func(group string, all ...*cobra.Command) {
		for _, c := range all {
			c.GroupID = group
			root.AddCommand(c)
		}
	}
	add(groupMetal, a.receiveCommand(), a.weighInCommand(), a.scaleCommand(), a.cleanCommand(), a.stockCommand(), a.lotsCommand(), a.lotCommand(),
		a.holdCommand(), a.releaseCommand(), a.moveCommand(), a.splitCommand(), a.combineCommand(), a.removeCommand(),
		a.assignCommand(), a.identifyCommand(), a.speakForCommand(), a.workUpCommand(), a.stocktakeCommand(), a.supplyCommand(), a.offerCommand(), a.priceCommand(), a.toBuyCommand(),
		a.orderCommand())
	add(groupHeats, a.heatCommand(), a.arrangeCommand(), a.castingCommand(), a.estimateCommand(), a.periodCommand(), a.costCommand(),
		a.commissionCommand(), a.quoteCommand(), a.chargeBackCommand())
	add(groupAsk, a.suspectsCommand(), a.lossesCommand(), a.forecastCommand(), a.traceCommand(), a.recallCommand(), a.contentCommand(),
		a.remeltsCommand(), a.energyCommand())
	add(groupBook, a.historyCommand(), a.entriesCommand(), a.reverseCommand(), a.verifyCommand(), a.checkpointCommand(), a.exportCommand(), a.importCommand(), a.printCommand())
	add(groupSetUp, a.setCommand(), a.listCommand(), a.alloyCommand(), a.personCommand(), a.tokenCommand())
	add(groupServer, a.serveCommand(), a.tlsCommand(), a.statusCommand(), a.backupCommand(), a.restoreCommand(), a.copyCommand(), a.versionCommand())
	root.AddCommand(exitHelp())
	root.SetCompletionCommandGroupID(groupServer)
	return root
}

func (a *app) checkOutput() error {
	if a.output != "table" && a.output != "json" {
		return usagef("--output %q: must be table or json", a.output)
	}
	a.began = true
	return nil
}

func (a *app) json() bool { return a.output == "json" }

// onTerminal reports whether w is a terminal, so that progress and emphasis make
// sense on it.
func onTerminal(w any) bool {
	f, ok := w.(*os.File)
	return ok && isatty.IsTerminal(f.Fd())
}

// strong sets off what must not be overlooked, on a terminal that may show it
// (https://no-color.org).
func (a *app) strong(s string) string {
	if os.Getenv("NO_COLOR") != "" || !onTerminal(a.out) {
		return s
	}
	return "\x1b[1m" + s + "\x1b[0m"
}

// must is for what only a mistake in this program can break.
func must(err error) {
	if err != nil {
		panic(err)
	}
}
