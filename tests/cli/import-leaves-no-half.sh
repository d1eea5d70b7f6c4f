# The source breaks off while the copy is under way: nothing appears.
{
  sed '/^#0/,$d' "$DATA/index.vcd"
  awk 'BEGIN { for (i = 0; i < 200000; i++) printf "#%d\n%d!\n", i * 7 + (i * i) % 5, i % 2 }'
} | gzip -nc | head -c 200000 >cut.vcd.gz
"$WHICHEND" import cut.vcd.gz -o one.wec
status=$?
ls
exit $status
