package page

import (
	"crypto/sha256"
	"sync"
)

// remembered is how many commands back a repeated key is known: days of work
// at a few hundred bytes each.
const remembered = 1024

// once carries out each key once and answers a repetition with the first
// answer. A refusal is forgotten: it did nothing, so its key may be tried again.
type once struct {
	mu    sync.Mutex
	keep  int
	order []string // of done keys, oldest first
	held  map[string]*held
}

type held struct {
	digest [sha256.Size]byte
	done   chan struct{} // closed when answer is there
	answer answer
}

func newOnce(keep int) *once { return &once{keep: keep, held: map[string]*held{}} }

// do gives the answer of carry under key: the one of the first call with it.
// other is true where the key stands for other bytes, which were carried out
// or are being carried out; nothing is done then.
func (o *once) do(key string, what []byte, carry func() answer) (a answer, other bool) {
	digest := sha256.Sum256(what)
	o.mu.Lock()
	h, again := o.held[key]
	if !again {
		h = &held{digest: digest, done: make(chan struct{})}
		o.held[key] = h
	}
	o.mu.Unlock()
	if again {
		<-h.done
		if h.digest != digest && h.answer.ok() {
			return answer{}, true
		}
		if h.digest == digest {
			return h.answer, false
		}
		return o.do(key, what, carry) // the other one was refused and is forgotten
	}
	defer close(h.done)
	h.answer = answer{status: 500} // what those who wait see should carry panic
	defer func() { o.settle(key, h.answer.ok()) }()
	h.answer = carry()
	return h.answer, false
}

func (o *once) settle(key string, ok bool) {
	o.mu.Lock()
	defer o.mu.Unlock()
	if !ok {
		delete(o.held, key)
		return
	}
	o.order = append(o.order, key)
	if len(o.order) > o.keep {
		delete(o.held, o.order[0])
		o.order = append(o.order[:0:0], o.order[1:]...)
	}
}
