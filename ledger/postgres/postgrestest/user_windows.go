package postgrestest

import "os/exec"

func giveAway(string) error { return nil }

func lowerRights(*exec.Cmd) {}
