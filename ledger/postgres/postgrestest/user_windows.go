package postgrestest

import (
	"errors"
	"os/exec"
)

func giveAway(string) error { return nil }

func lowerRights(*exec.Cmd) {}

func (c *Cluster) kill() error { return errors.ErrUnsupported }
