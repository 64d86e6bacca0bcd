package hub

import (
	"context"
	"fmt"
	"log/slog"
	"sync"
)

// talk passes on what a message server says.
type talk struct {
	log *slog.Logger
	run context.Context
	who string
	bad func(string) // gets warnings and errors; may be nil

	mu    sync.Mutex
	fatal error
}

func (t *talk) say(level slog.Level, format string, v []any) {
	text := fmt.Sprintf(format, v...)
	if level > slog.LevelInfo && t.bad != nil {
		t.bad(text)
	}
	t.log.Log(t.run, level, text, "from", t.who)
}

// dead is why the server gave up; nil: it did not.
func (t *talk) dead() error {
	t.mu.Lock()
	defer t.mu.Unlock()
	return t.fatal
}

func (t *talk) Noticef(format string, v ...any) { t.say(slog.LevelDebug, format, v) }
func (t *talk) Warnf(format string, v ...any)   { t.say(slog.LevelInfo, format, v) }
func (t *talk) Errorf(format string, v ...any)  { t.say(slog.LevelWarn, format, v) }
func (t *talk) Debugf(format string, v ...any)  { t.say(slog.LevelDebug, format, v) }
func (t *talk) Tracef(format string, v ...any)  { t.say(slog.LevelDebug, format, v) }
func (t *talk) Fatalf(format string, v ...any) {
	t.mu.Lock()
	t.fatal = fmt.Errorf(format, v...)
	t.mu.Unlock()
	t.say(slog.LevelError, format, v)
}
