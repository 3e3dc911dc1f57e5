package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"log/slog"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"time"

	"github.com/prometheus/client_golang/prometheus"

	"example.org/remelt/ledger"
	"example.org/remelt/ledger/sqlite"
)

// backups makes a copy of a store's books every so often, in files of a folder,
// and keeps the newest of them. A copy is verified before it gets its name, and
// only when it has it are old ones removed: a book that goes bad never takes the
// place of the last good copy.
type backups struct {
	store ledger.Store
	log   *slog.Logger
	now   func() time.Time

	dir   string
	name  string // what the files' names begin with
	every time.Duration
	keep  int

	last   prometheus.Gauge
	failed prometheus.Counter
}

// Files are named after the moment, so that their names sort by it.
const backupTime = "20060102T150405Z"

const (
	backupAgain = 10 * time.Minute // after one that failed, if the next is not due before
	backupSoon  = time.Minute      // while there is no book
	leftBehind  = time.Hour        // the age at which a part of a copy is nobody's any more
)

// newBackups checks what was said on the command line.
func newBackups(v *serveFlags, store ledger.Store, log *slog.Logger, now func() time.Time) (*backups, error) {
	switch {
	case v.backupEvery < time.Second:
		return nil, usagef("--backup-every %s: must be a second or more, such as 24h", v.backupEvery)
	case v.backupKeep < 1:
		return nil, usagef("--backup-keep %d: must be 1 or more", v.backupKeep)
	}
	dir, err := filepath.Abs(v.backupTo)
	if err != nil {
		return nil, err
	}
	if info, err := os.Stat(dir); err != nil || !info.IsDir() {
		return nil, usagef("--backup-to %q: must be a folder that is there", v.backupTo)
	}
	b := &backups{store: store, log: log, now: now, dir: dir, name: "books", every: v.backupEvery, keep: v.backupKeep,
		last:   prometheus.NewGauge(prometheus.GaugeOpts{Name: "remelt_backup_last_timestamp_seconds", Help: "When the last regular backup of this run was made and verified; 0 for none."}),
		failed: prometheus.NewCounter(prometheus.CounterOpts{Name: "remelt_backup_failures_total", Help: "Regular backups that failed."}),
	}
	if file, ok := store.(*sqlite.Store); ok {
		b.name = strings.TrimSuffix(filepath.Base(file.Path()), ".db")
	}
	return b, nil
}

// run makes backups until ctx is done: the first at once, unless the newest that
// is there is young enough.
func (b *backups) run(ctx context.Context) {
	for wait := b.due(); ; {
		select {
		case <-time.After(wait):
		case <-ctx.Done():
			return
		}
		wait = b.every
		switch err := b.once(ctx); {
		case err == nil:
			b.last.SetToCurrentTime()
		case ctx.Err() != nil:
			return
		case errors.Is(err, errNoBook):
			wait = min(b.every, backupSoon)
		default:
			b.failed.Inc()
			b.log.Error("BACKUP FAILED; older ones are kept", "to", b.dir, "why", err.Error())
			wait = min(b.every, backupAgain)
		}
	}
}

var errNoBook = errors.New("there is no book yet")

// due is how long to wait for the next one. The newest may be from the future, if
// the clock was wrong: that is no reason to wait.
func (b *backups) due() time.Duration {
	all, err := b.made()
	if err != nil || len(all) == 0 {
		return 0
	}
	last, err := time.Parse(backupTime, b.stamp(all[len(all)-1]))
	age := b.now().Sub(last)
	if err != nil || age < 0 {
		return 0
	}
	return max(0, b.every-age)
}

// made are the names of the backups that are there, the oldest first.
func (b *backups) made() (names []string, err error) {
	files, err := os.ReadDir(b.dir)
	ours := regexp.MustCompile(`^` + regexp.QuoteMeta(b.name) + `-\d{8}T\d{6}Z\.db$`)
	for _, f := range files {
		if ours.MatchString(f.Name()) && f.Type().IsRegular() {
			names = append(names, f.Name())
		}
	}
	slices.Sort(names)
	return names, err
}

func (b *backups) stamp(name string) string {
	return strings.TrimSuffix(strings.TrimPrefix(name, b.name+"-"), ".db")
}

// once makes a backup, verifies it and removes the oldest.
func (b *backups) once(ctx context.Context) error {
	began := time.Now()
	b.clearUp()
	shops, err := b.store.Shops(ctx)
	if err != nil {
		return err
	}
	if len(shops) == 0 {
		return errNoBook
	}
	dir, err := os.MkdirTemp(b.dir, "."+b.name+"-backup-")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	part := filepath.Join(dir, "copy.db")
	if err := copyBooks(ctx, b.store, part, shops); err != nil {
		return err
	}
	entries := int64(0)
	for _, shop := range shops {
		v, err := verifyFile(ctx, part, shop)
		if err != nil {
			return err
		}
		if v.Fault != nil {
			return fmt.Errorf("the book of shop %s is damaged: entry %d %s", shop, v.Fault.Seq, v.Fault.What)
		}
		entries += v.Entries
	}
	name := b.name + "-" + b.now().UTC().Format(backupTime) + ".db"
	path := filepath.Join(b.dir, name)
	if err := sqlite.Place(part, path); err != nil {
		return err
	}
	b.log.Info("backup made and verified", "file", path, "shops", len(shops), "entries", entries, "took", time.Since(began).String())
	return b.removeOld(name)
}

// removeOld removes the oldest, but never the one that was just made, whatever the
// clock said of it.
func (b *backups) removeOld(made string) error {
	all, err := b.made()
	if err != nil {
		return err
	}
	all = slices.DeleteFunc(all, func(name string) bool { return name == made })
	for _, name := range all[:max(0, len(all)-(b.keep-1))] {
		if err := os.Remove(filepath.Join(b.dir, name)); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
		b.log.Info("old backup removed", "file", filepath.Join(b.dir, name))
	}
	return nil
}

// clearUp removes what a backup left behind that was cut off.
func (b *backups) clearUp() {
	parts, _ := filepath.Glob(filepath.Join(b.dir, "."+b.name+"-backup-*")) // none, if the pattern is odd
	for _, part := range parts {
		if info, err := os.Stat(part); err == nil && time.Since(info.ModTime()) > leftBehind {
			_ = os.RemoveAll(part) // the next time, then
		}
	}
}
