// Package hub joins sites: the message server of a hub, alone or as one node of
// three, and the link by which a site's program tells it what it records.
//
// # What goes where
//
//	site                                          hub
//	recording -> carry -> stream out-SITE-x  ==>  stream fleet (R3) -> ledger
//	documents ----------^                         (one per node, in SQL)
//	beats ------------- never stored ---------->  heard, for the fleet page
//
// The link is a message server of its own in the site's process, apart from the
// one that gateways publish to: nothing of the hub, of its network or of this
// disk is on the way of a reading to an alarm. It carries what the recording has
// on disk, in its order and with its numbers, so that the hub gets the one log of
// the watch: readings, tares, words, what the watch said.
//
// The site's server is a leaf node of the hub's. The hub's stream takes the
// site's in by sourcing over that one connection, which the site makes, so that
// a site needs no open port. While there is none the site's stream grows on its
// disk; once it is back the hub asks for what comes after the last it has.
//
// # All there, in order, nothing twice
//
// The site's stream is synced before the carrier goes on, and the last message
// of a watch says how far the carrier had got, so a restart goes on from there.
// The hub's stream keeps with each message which of the site's it was, so sourcing
// goes on from there whichever node leads. The ledger keeps its place in the
// stream in the same transaction as what it made of it. And, apart from all that,
// the entries are numbered: fleet.Tally counts what is missing or came again.
//
// A site's stream has a name with a random end, made with it. When a site begins
// with an empty folder the hub takes its new stream from the first message on and
// the tally leaves out what it had.
//
// # Who may do what
//
// A site proves itself with a key of its own and may only answer the hub about its
// own streams and publish below fleet.SITE. It hears nothing of other sites.
// Nodes prove themselves to sites by certificates of the hub's own authority, and
// to each other by that and by a secret that is made of the authority's key.
package hub
