#!/bin/sh
# A campaign in shares on this machine, by GNU parallel: one process a share.
#   docs/array-jobs/parallel.sh shuttle 1000000 8 shuttle-campaign
# Stopped half-way, the same command goes on where it was. Exit code: that of the merge.
file=${1:?driveline file or demo} cases=${2:?number of cases} n=${3:?number of shares} out=${4:?folder}

seq 0 $((n - 1)) | parallel \
    slipwarden campaign "$file" --cases "$cases" --shard {}/"$n" --threads 1 --out "$out" --resume
slipwarden merge "$out" --driveline "$file"
