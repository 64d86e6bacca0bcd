package cli

import (
	"cmp"
	"context"
	"errors"
	"time"

	"plumbhook/internal/store"
	"plumbhook/lift"
	"plumbhook/register"
	"plumbhook/verdict"
)

// registered are the options of every command that reads a lift whose gear may
// stand in the register.
type registered struct {
	Data string        `placeholder:"DIR" help:"Data folder with the gear register: a piece that the file names by its serial alone is taken from it, and pieces with serials are held against their dates and status."`
	On   register.Date `placeholder:"DATE" help:"Day of the lift, for --data; today when left out."`
}

// read loads a lift, and what the register has on its serials; nil without a
// data folder.
func (r registered) read(path string) (*lift.Lift, *verdict.Register, error) {
	if r.Data == "" {
		l, err := read(path)
		return l, nil, err
	}
	ctx := context.Background()
	s, err := store.Open(ctx, r.Data, false)
	if err != nil {
		return nil, nil, err
	}
	defer s.Close()
	var failed error // of the store, which the lift file is not to blame for
	l, err := readWith(path, func(serial string) (string, map[string]string, bool) {
		items, err := s.Items(ctx, []string{serial})
		failed = errors.Join(failed, err)
		it, ok := items[register.Key(serial)]
		return it.Kind, it.Said(), ok
	})
	if err := cmp.Or(failed, err); err != nil {
		return nil, nil, err
	}
	items, err := s.Items(ctx, verdict.Serials(l))
	if err != nil {
		return nil, nil, err
	}
	return l, &verdict.Register{On: cmp.Or(r.On, register.DateOf(time.Now())), Items: items}, nil
}
