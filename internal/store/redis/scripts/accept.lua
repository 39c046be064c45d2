-- accept: put an item at the end of the inbox, unless its carrier id was seen.
--
-- KEYS[1]  STREAM  inbox
-- KEYS[2]  STRING  seen:<hash of the carrier id>   when it came, Unix ms
-- ARGV[1]  now, Unix ms (passed in; scripts never read the clock)
-- ARGV[2]  for how long ids are remembered, ms
-- ARGV[3]  for how long the key is kept, ms; longer, because the server's clock runs it down
-- ARGV[4]  the sealed item
-- Returns  1 stored, 0 seen before
-- Cost     3 commands, constant
local seen = redis.call('GET', KEYS[2])
if seen and tonumber(ARGV[1]) - tonumber(seen) < tonumber(ARGV[2]) then
  return 0
end
-- The only write that can fail comes first; SET overwrites whatever is there.
redis.call('XADD', KEYS[1], '*', 'g', ARGV[1], 'b', ARGV[4])
redis.call('SET', KEYS[2], ARGV[1], 'PX', ARGV[3])
return 1
