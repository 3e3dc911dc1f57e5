// Package web is the pages: what a person at the scale, beside the furnace or in
// the office asks of the metal book, answered by the server that keeps it.
//
// A page is a client like any other. It reads through the API's own services on a
// connection inside the process, so every call is checked, logged and answered as
// it is for programs, and it writes through the REST interface, with a request id,
// so that nothing is written twice. The package knows no store and no rule of the
// trade.
//
// It promises pages that work without scripts where reading is all that is wanted,
// load nothing from elsewhere, carry no script or style inline, and say in words
// whatever a colour or a picture says. Weighing in needs a script, since it must
// work while the network is gone: what is typed is kept in the browser until the
// server has it.
//
// It refuses to invent: an amount that can still change is marked provisional, and
// whatever can hurt is shown with its caution.
package web
