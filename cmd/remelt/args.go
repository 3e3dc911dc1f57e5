package main

import (
	"strconv"
	"strings"

	"github.com/spf13/cobra"
)

// exactly wants these arguments, and says which is missing.
func exactly(names ...string) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		switch {
		case len(args) < len(names):
			return usagef("%s needs %s; the form is: %s", c.CommandPath(), strings.Join(names[len(args):], " and "), useLine(c))
		case len(args) > len(names):
			return usagef("%s does not know what to do with %q; the form is: %s", c.CommandPath(), args[len(names)], useLine(c))
		}
		return nil
	}
}

// atLeast wants these arguments and takes more.
func atLeast(names ...string) cobra.PositionalArgs {
	return func(c *cobra.Command, args []string) error {
		if len(args) < len(names) {
			return usagef("%s needs %s; the form is: %s", c.CommandPath(), strings.Join(names[len(args):], " and "), useLine(c))
		}
		return nil
	}
}

func useLine(c *cobra.Command) string {
	return strings.TrimSuffix(c.CommandPath(), c.Name()) + c.Use
}

func itoa(n int64) string { return strconv.FormatInt(n, 10) }
