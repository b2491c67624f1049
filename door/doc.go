// Package door decides who comes in, and how: on this computer alone, or on the workshop's network with TLS and sign-in.
//
// In: routes, each with the least role that may use it. Out: a handler that lets through whom it should, with the headers that keep
// pages to themselves, limits on how much and how often, a trail of who came, and nothing secret in any log.
//
//	d := door.New(store)
//	local := d.Loopback(routes)   // whoever sits at this computer is the owner
//	net := d.Network(routes, names) // behind TLS: sign-in, sessions that end
//
// Handlers learn who asks from User(ctx). The threats that this answers, and those that it does not, stand in docs/threats.md.
package door
