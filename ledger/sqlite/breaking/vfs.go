package breaking

import (
	"fmt"
	"path/filepath"
	"strings"
	"sync"
	"sync/atomic"
	"unsafe"

	"modernc.org/libc"
	lib "modernc.org/sqlite/lib"
)

// Op is what SQLite does with a file.
type Op byte

// The ways SQLite uses a file.
const (
	Open     Op = 'o'
	Read     Op = 'r'
	Write    Op = 'w'
	Sync     Op = 's'
	Truncate Op = 't'
	Delete   Op = 'd'
	Size     Op = 'z'
	Share    Op = 'm' // a part of the shared memory beside the log is made or mapped
)

// Event is one use of a file.
type Event struct {
	Op   Op
	File string // its name without the folder
	At   int64  // offset of a read or write; the new size of a truncation
	Data []byte // of a write; of other events empty
	Len  int    // bytes read or written
}

// Fault is what becomes of an event. The zero Fault lets it through.
type Fault struct {
	Code int32 // the SQLite result code that is returned; 0: none
	Part int   // of a write: so many bytes are written before it fails
}

// Watcher sees the events of one folder. Both functions may be nil; they run one
// at a time.
type Watcher struct {
	mu     sync.Mutex
	Before func(Event) Fault // decides
	After  func(Event)       // is told what was done; a failed write counts as far as it got
}

func (w *Watcher) before(e Event) Fault {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.Before == nil {
		return Fault{}
	}
	return w.Before(e)
}

func (w *Watcher) after(e Event) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.After != nil {
		w.After(e)
	}
}

// Set replaces both functions.
func (w *Watcher) Set(before func(Event) Fault, after func(Event)) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.Before, w.After = before, after
}

var (
	watchers sync.Map // folder → *Watcher
	opened   sync.Map // address of a sqlite3_file → *file
	original uintptr  // SQLite's own file system
	tables   sync.Map // address of a method table → *table
	making   sync.Mutex
	ready    atomic.Bool
)

// file is an open file in a watched folder.
type file struct {
	w    *Watcher
	name string
	own  *lib.Tsqlite3_io_methods // the methods it would have
}

// table is a method table with ours in the place of some.
type table struct {
	own  *lib.Tsqlite3_io_methods
	ours uintptr
}

// Watch has w see the files that are opened in dir from now on. Call the function
// it returns when they are closed.
func Watch(dir string, w *Watcher) (end func()) {
	watchers.Store(filepath.Clean(dir), w)
	return func() { watchers.Delete(filepath.Clean(dir)) }
}

// Types of SQLite's functions, as the translated library has them.
type (
	openFn     = func(tls *libc.TLS, vfs, name, file uintptr, flags int32, out uintptr) int32
	transferFn = func(tls *libc.TLS, file, buf uintptr, amount int32, at int64) int32
	syncFn     = func(tls *libc.TLS, file uintptr, flags int32) int32
	truncateFn = func(tls *libc.TLS, file uintptr, size int64) int32
	sizeFn     = func(tls *libc.TLS, file, size uintptr) int32
	closeFn    = func(tls *libc.TLS, file uintptr) int32
	mapFn      = func(tls *libc.TLS, file uintptr, region, size, extend int32, out uintptr) int32
	deleteFn   = func(tls *libc.TLS, vfs, name uintptr, syncDir int32) int32
)

// at is the C value at an address.
func at[T any](p uintptr) *T { return *(**T)(unsafe.Pointer(&p)) }

// function is the Go function behind a C function pointer, and pointer the other
// way round, for functions that are not closures.
func function[F any](p uintptr) F { return *(*F)(unsafe.Pointer(&p)) }
func pointer[F any](f F) uintptr  { return *(*uintptr)(unsafe.Pointer(&f)) }

// Install makes the file system of this package the one SQLite uses. Calling it
// again does nothing.
func Install() error {
	making.Lock()
	defer making.Unlock()
	if ready.Load() {
		return nil
	}
	tls := libc.NewTLS()
	if original = lib.Xsqlite3_vfs_find(tls, 0); original == 0 {
		return fmt.Errorf("SQLite has no file system")
	}
	name, err := libc.CString("breaking")
	if err != nil {
		return err
	}
	p := libc.Xmalloc(tls, libc.Tsize_t(unsafe.Sizeof(lib.Tsqlite3_vfs{})))
	v := at[lib.Tsqlite3_vfs](p)
	*v = *at[lib.Tsqlite3_vfs](original)
	v.FpNext, v.FzName = 0, name
	v.FxOpen, v.FxDelete = pointer[openFn](open), pointer[deleteFn](remove)
	if rc := lib.Xsqlite3_vfs_register(tls, p, 1); rc != lib.SQLITE_OK {
		return fmt.Errorf("SQLite refuses the file system: %d", rc)
	}
	ready.Store(true)
	return nil
}

// watched gives the watcher of a path, if it has one, and the file's name.
func watched(name uintptr) (*Watcher, string) {
	if name == 0 {
		return nil, ""
	}
	dir, base := filepath.Split(libc.GoString(name))
	w, ok := watchers.Load(strings.TrimSuffix(dir, "/"))
	if !ok {
		return nil, ""
	}
	return w.(*Watcher), base
}

func open(tls *libc.TLS, _, name, p uintptr, flags int32, out uintptr) int32 {
	w, base := watched(name)
	if w != nil {
		if f := w.before(Event{Op: Open, File: base}); f.Code != 0 {
			at[lib.Tsqlite3_file](p).FpMethods = 0
			return f.Code
		}
	}
	rc := function[openFn](at[lib.Tsqlite3_vfs](original).FxOpen)(tls, original, name, p, flags, out)
	f := at[lib.Tsqlite3_file](p)
	if w == nil || rc != lib.SQLITE_OK || f.FpMethods == 0 {
		return rc
	}
	w.after(Event{Op: Open, File: base})
	t := ourTable(tls, f.FpMethods)
	opened.Store(p, &file{w, base, t.own})
	f.FpMethods = t.ours
	return rc
}

// ourTable is a copy of a method table with our functions in it.
func ourTable(tls *libc.TLS, own uintptr) *table {
	if t, ok := tables.Load(own); ok {
		return t.(*table)
	}
	making.Lock()
	defer making.Unlock()
	p := libc.Xmalloc(tls, libc.Tsize_t(unsafe.Sizeof(lib.Tsqlite3_io_methods{})))
	m := at[lib.Tsqlite3_io_methods](p)
	*m = *at[lib.Tsqlite3_io_methods](own)
	m.FxRead, m.FxWrite = pointer[transferFn](read), pointer[transferFn](write)
	m.FxSync, m.FxTruncate, m.FxFileSize = pointer[syncFn](syncFile), pointer[truncateFn](truncate), pointer[sizeFn](size)
	m.FxShmMap, m.FxClose = pointer[mapFn](share), pointer[closeFn](closeFile)
	m.FiVersion = min(m.FiVersion, 2) // no reading past xRead
	t := &table{at[lib.Tsqlite3_io_methods](own), p}
	tables.Store(own, t)
	return t
}

func of(p uintptr) *file {
	f, _ := opened.Load(p)
	return f.(*file)
}

func read(tls *libc.TLS, p, buf uintptr, amount int32, off int64) int32 {
	f := of(p)
	if fault := f.w.before(Event{Op: Read, File: f.name, At: off, Len: int(amount)}); fault.Code != 0 {
		return fault.Code
	}
	return function[transferFn](f.own.FxRead)(tls, p, buf, amount, off)
}

func write(tls *libc.TLS, p, buf uintptr, amount int32, off int64) int32 {
	f := of(p)
	data := unsafe.Slice(at[byte](buf), amount)
	fault := f.w.before(Event{Op: Write, File: f.name, At: off, Data: data, Len: int(amount)})
	if fault.Code == 0 {
		rc := function[transferFn](f.own.FxWrite)(tls, p, buf, amount, off)
		if rc == lib.SQLITE_OK {
			f.w.after(Event{Op: Write, File: f.name, At: off, Data: data, Len: int(amount)})
		}
		return rc
	}
	if part := min(fault.Part, int(amount)); part > 0 {
		if function[transferFn](f.own.FxWrite)(tls, p, buf, int32(part), off) == lib.SQLITE_OK {
			f.w.after(Event{Op: Write, File: f.name, At: off, Data: data[:part], Len: part})
		}
	}
	return fault.Code
}

func syncFile(tls *libc.TLS, p uintptr, flags int32) int32 {
	f := of(p)
	e := Event{Op: Sync, File: f.name}
	return f.through(e, func() int32 { return function[syncFn](f.own.FxSync)(tls, p, flags) })
}

func truncate(tls *libc.TLS, p uintptr, to int64) int32 {
	f := of(p)
	e := Event{Op: Truncate, File: f.name, At: to}
	return f.through(e, func() int32 { return function[truncateFn](f.own.FxTruncate)(tls, p, to) })
}

func size(tls *libc.TLS, p, out uintptr) int32 {
	f := of(p)
	return f.through(Event{Op: Size, File: f.name}, func() int32 { return function[sizeFn](f.own.FxFileSize)(tls, p, out) })
}

func share(tls *libc.TLS, p uintptr, region, bytes, extend int32, out uintptr) int32 {
	f := of(p)
	return f.through(Event{Op: Share, File: f.name}, func() int32 { return function[mapFn](f.own.FxShmMap)(tls, p, region, bytes, extend, out) })
}

func (f *file) through(e Event, do func() int32) int32 {
	if fault := f.w.before(e); fault.Code != 0 {
		return fault.Code
	}
	rc := do()
	if rc == lib.SQLITE_OK {
		f.w.after(e)
	}
	return rc
}

func closeFile(tls *libc.TLS, p uintptr) int32 {
	f := of(p)
	opened.Delete(p)
	return function[closeFn](f.own.FxClose)(tls, p)
}

func remove(tls *libc.TLS, _, name uintptr, syncDir int32) int32 {
	w, base := watched(name)
	if w != nil {
		if f := w.before(Event{Op: Delete, File: base}); f.Code != 0 {
			return f.Code
		}
	}
	rc := function[deleteFn](at[lib.Tsqlite3_vfs](original).FxDelete)(tls, original, name, syncDir)
	if w != nil && rc == lib.SQLITE_OK {
		w.after(Event{Op: Delete, File: base})
	}
	return rc
}
