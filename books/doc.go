// Package books draws from finished jobs what an evening at the desk wants to know: figures, the technician's own pace, lists that go to
// other programs and come back, appointments and contacts.
//
// In: records of package job. Out: rows of figures, learnt rates, tables, the bytes of a calendar or of contact cards, and what an import
// would change before it changes anything. Pure: the store is the caller's.
package books
