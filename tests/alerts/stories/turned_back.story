# The wind turns to the orchard and back: one stop, one all-clear.
start creek_side coarse
1 min calm
5 min from the south
  11:02 driver: Stop creek side: blowing to orchard
    Stop spraying now.
    Orchard downwind to the N, 33 ft: this wind may not go there (our default).
    Also drift onto orchard to the N, 33 ft: up to 0.18% of the rate, it stands 0.1% (our default).
    Go to hill: inside the limits for all that is left; takes about 30 min.
    Leave 4 passes beside orchard and spray the rest first: inside the limits for all that is left; drift 1.8 down to 0.16 times what the neighbour stands; 10.9 acre left unsprayed.
    Not inside again as far as the forecast reaches.
    Job: coarse, about 41 min of spraying left.
    Wind measured by mast 1 min ago.
  11:02 mate: Pare creek side: va hacia orchard. Deje de aplicar ya. Decide la etiqueta.
12 min calm
  11:17 driver: All clear creek side: inside for 10 min
    Inside for 10 min.
    Job: coarse, about 26 min of spraying left.
    Wind measured by mast 1 min ago.
  11:17 mate: Puede seguir creek side: 10 min dentro. 10 min dentro. Trabajo: coarse, quedan unos 26 min de pulverizacion. Decide la etiqueta.
most 2 driver
most 2 mate
not (?i)too windy|unknown
