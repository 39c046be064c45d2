-- settle: end, or put off, a text that was taken, and report it in the same step.
--
-- KEYS[1]  ZSET    out:<class>  member text, score not-before or end of lease, Unix ms
-- KEYS[2]  HASH    out:texts    text -> sealed text
-- and only with a report
-- KEYS[3]  STREAM  inbox
-- KEYS[4]  STRING  seen:<hash of the report's carrier id>   when it came, Unix ms
-- ARGV[1]  text
-- ARGV[2]  0: it is done; otherwise not before when it may be taken again, Unix ms
-- and only with a report
-- ARGV[3]  now, Unix ms
-- ARGV[4]  for how long ids are remembered, ms
-- ARGV[5]  for how long the key is kept, ms
-- ARGV[6]  the sealed report
-- Returns  1 settled; 0 the text was not there any more and nothing is changed
-- Cost     at most 7 commands, constant
if not redis.call('ZSCORE', KEYS[1], ARGV[1]) then return 0 end
redis.call('HEXISTS', KEYS[2], ARGV[1]) -- fails on another type before anything is written
if #KEYS == 4 then
  local seen = redis.call('GET', KEYS[4])
  if not seen or tonumber(ARGV[3]) - tonumber(seen) >= tonumber(ARGV[4]) then
    redis.call('XADD', KEYS[3], '*', 'g', ARGV[3], 'b', ARGV[6])
    redis.call('SET', KEYS[4], ARGV[3], 'PX', ARGV[5])
  end
end
if ARGV[2] == '0' then
  redis.call('ZREM', KEYS[1], ARGV[1])
  redis.call('HDEL', KEYS[2], ARGV[1])
else
  redis.call('ZADD', KEYS[1], ARGV[2], ARGV[1])
end
return 1
