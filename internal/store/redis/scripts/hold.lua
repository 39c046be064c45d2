-- hold: take or renew the engine's lease, and note when its last round ended.
--
-- KEYS[1]  STRING  lease   its holder
-- KEYS[2]  STRING  round   end of the engine's last round, Unix ms
-- ARGV[1]  who asks
-- ARGV[2]  for how long, ms, from now on the server's clock
-- ARGV[3]  end of the last round, Unix ms; 0: none yet, what is noted stays
-- Returns  1 it is theirs, 0 another holds it
-- Cost     at most 3 commands, constant
local holder = redis.call('GET', KEYS[1])
if holder and holder ~= ARGV[1] then return 0 end
redis.call('SET', KEYS[1], ARGV[1], 'PX', ARGV[2])
if ARGV[3] ~= '0' then redis.call('SET', KEYS[2], ARGV[3]) end
return 1
