// Package breaking breaks the disk under SQLite, for tests of what a book
// survives. It is used by tests only.
//
// Install puts a file system of its own in front of the one that SQLite uses, in
// the whole process. For a folder that is given a [Watcher] each thing SQLite is
// about to do with a file there is counted and recorded, and can be made to fail:
// at once, after half of a write, or from then on. Everything else goes through.
//
// It promises that what it lets through is what SQLite asked for, in that order.
// It does not see what the store does past SQLite (making the lock file, putting
// a new file in place by renaming it), nor the shared memory beside the log,
// which no crash keeps.
//
// The tests of the package are the harness: the n-th I/O of a day's work fails,
// for each n; the power is cut after each recorded write, with what was not
// synced kept, dropped or torn. They run without the race detector, under which
// SQLite is ten times slower and which sees nothing of the disk.
package breaking
