// Package queue hands captures to whoever measures them: the same process, or workers on other machines.
//
// In: the records, and a function that measures one capture. Out: each waiting capture is measured once. The jobs lie in the records'
// own database (River's tables), written in the transaction that makes a capture wait, so that neither is there without the other. Who
// holds a capture is noted beside it with a heartbeat: a worker that dies is found out by its silence, its capture goes to another, and
// whatever the first may still send is refused by the store.
//
//	q := queue.Runner{Records: store, Workers: 1, Do: measure}
//	err := q.Run(ctx)
package queue
