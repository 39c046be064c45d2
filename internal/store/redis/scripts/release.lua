-- release: give the engine's lease up, if it is still one's own.
--
-- KEYS[1]  STRING  lease   its holder
-- ARGV[1]  who gives it up
-- Returns  1 given up, 0 it was not theirs
-- Cost     at most 2 commands, constant
if redis.call('GET', KEYS[1]) ~= ARGV[1] then return 0 end
return redis.call('DEL', KEYS[1])
