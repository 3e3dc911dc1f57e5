// Package client speaks to a server of the metal book: the generated stubs over
// one connection, with the things every caller would otherwise write again.
//
// What it promises:
//
//   - A write gets one request id, made once per call unless the caller gave one.
//     When the server cannot be reached, takes too long, or saves the write and
//     the answer is lost, the same request is sent again with the same id, so it
//     is recorded once or not at all, never twice.
//   - It tries at most five times, waiting longer each time and never exactly as
//     long as another client (exponential backoff with full jitter), or as long
//     as the server asks. Refusals are never tried again.
//   - Errors are the domain's own: errors.Is(err, ledger.ErrNotFound) works as it
//     does beside the book. See [Fault].
//   - A watch goes on from the last entry it handed over, however often the
//     connection breaks, and notices a gap.
//   - A backup is handed over only when its checksum agrees.
//
// What it refuses: it does not guess whether a write happened. A [Fault] without
// a domain error, after the last try, means that nobody knows; ask again with the
// same request id.
package client
