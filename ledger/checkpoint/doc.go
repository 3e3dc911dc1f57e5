// Package checkpoint says where a book stood, in a short signed text that can be
// kept elsewhere: printed, sent to the accountant, put on another machine.
//
// The chain of hashes in a book shows any change that leaves the hashes after it
// as they were. It cannot show that somebody wrote the whole book again with
// fitting hashes, or cut off its end and all that belongs to it: what is left is
// a book without a fault. A checkpoint that was taken before can.
//
// It promises: a book that still begins with exactly the entries it had at the
// checkpoint agrees with it, however far it has grown since; any other book does
// not. A checkpoint carries, beside the hash of its last entry, those of up to 32
// entries before it, evenly spread, so that the first entry that is not what it
// was is known to within a sixteenth of the book, and exactly in a book of up
// to 33 entries; several checkpoints together say it more closely.
//
// The text is a signed note of the Go checksum database
// (https://pkg.go.dev/golang.org/x/mod/sumdb/note), signed with Ed25519:
//
//	remelt checkpoint
//	shop harrow
//	entries 214
//	head 242524cd8500f76d26a7944ff4fd566c08c8d56c6a5d21758811257d229f1ec5
//	time 2026-03-02T08:00:00Z
//	mark 8 0c0a6d5e…
//	mark 16 5be1f0c2…
//
//	— harrow 4Yd2…
//
// The signature shows that the holder of the key wrote the note, so nobody else
// can make one up for a book that was written again. Whoever has the key can:
// keep it where the book is not.
//
// It refuses a note whose signature is not of a known key, and any text that it
// would not have written itself. It does not say who changed a book, nor when,
// and it does not prove a time: that is the signer's own clock. It says nothing
// of entries after the last checkpoint.
package checkpoint
