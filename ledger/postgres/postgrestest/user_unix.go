//go:build unix

package postgrestest

import (
	"errors"
	"os"
	"os/exec"
	"os/user"
	"path/filepath"
	"strconv"
	"syscall"
)

// other is who runs PostgreSQL when the tests run as root, as whom it refuses to
// work.
func other() (uid, gid int, needed bool) {
	if os.Geteuid() != 0 {
		return 0, 0, false
	}
	for _, name := range []string{"postgres", "nobody"} {
		u, err := user.Lookup(name)
		if err != nil {
			continue
		}
		uid, err1 := strconv.Atoi(u.Uid)
		gid, err2 := strconv.Atoi(u.Gid)
		if err1 == nil && err2 == nil {
			return uid, gid, true
		}
	}
	return 65534, 65534, true // nobody's usual numbers
}

// giveAway makes a folder that of whoever runs PostgreSQL.
func giveAway(dir string) error {
	uid, gid, needed := other()
	if !needed {
		return nil
	}
	return os.Chown(dir, uid, gid)
}

// lowerRights makes a command run as whoever runs PostgreSQL.
func lowerRights(cmd *exec.Cmd) {
	cmd.SysProcAttr = &syscall.SysProcAttr{Setpgid: true} // Ctrl-C is for the tests, which then stop it
	if uid, gid, needed := other(); needed {
		cmd.SysProcAttr.Credential = &syscall.Credential{Uid: uint32(uid), Gid: uint32(gid)} //nolint:gosec // they are small
	}
}

// kill ends the server and all its processes at once.
func (c *Cluster) kill() error {
	err := syscall.Kill(-c.cmd.Process.Pid, syscall.SIGKILL)
	c.Down()
	// Its number, which these files keep, may still be that of a dead process that
	// nobody has asked after.
	for _, file := range []string{filepath.Join(c.data(), "postmaster.pid"), filepath.Join(c.dir, ".s.PGSQL.5432.lock")} {
		err = errors.Join(err, os.Remove(file))
	}
	return err
}
