# Two jobs, one wind: only the field it concerns is stopped.
start creek_side coarse
start hill old_coarse
2 min calm
3 min from the south
  11:03 driver: Stop creek side: blowing to orchard
    Stop spraying now.
    Orchard downwind to the N, 33 ft: this wind may not go there (our default).
    Also drift onto orchard to the N, 33 ft: up to 0.18% of the rate, it stands 0.1% (our default).
    Leave 4 passes beside orchard and spray the rest first: inside the limits for all that is left; drift 1.8 down to 0.16 times what the neighbour stands; 10.9 acre left unsprayed.
    Not inside again as far as the forecast reaches.
    Job: coarse, about 40 min of spraying left.
    Wind measured by mast 1 min ago.
  11:03 mate: Pare creek side: va hacia orchard. Deje de aplicar ya. Decide la etiqueta.
not hill
most 1 driver
most 1 mate
