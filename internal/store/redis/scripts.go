package redisstore

import (
	"embed"

	"github.com/redis/go-redis/v9"
)

//go:embed scripts/*.lua
var scriptFiles embed.FS

var (
	acceptScript  = mustScript("accept")
	commitScript  = mustScript("commit")
	holdScript    = mustScript("hold")
	journalScript = mustScript("journal")
	pageScript    = mustScript("page")
	pulseScript   = mustScript("pulse")
	releaseScript = mustScript("release")
	settleScript  = mustScript("settle")
	takeScript    = mustScript("take")
)

// loaded names the scripts above, so that a test finds a file that nothing runs.
var loaded map[string]*redis.Script

func mustScript(name string) *redis.Script {
	source, err := scriptFiles.ReadFile("scripts/" + name + ".lua")
	if err != nil {
		panic("redisstore: " + err.Error()) // the file is embedded: a mistake in this package
	}
	if loaded == nil {
		loaded = map[string]*redis.Script{}
	}
	loaded[name] = redis.NewScript(string(source))
	return loaded[name]
}
