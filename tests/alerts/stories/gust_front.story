# A gust front: one stop, one all-clear, whatever else it breaks on the way.
start hill coarse
5 min calm
1 min gusty
  11:06 driver: Stop hill: gusts 19, max 15 mph
    Stop spraying now.
    Gust 19 mph, at most 15 mph (own): 4 mph over.
    Not inside again as far as the forecast reaches.
    Job: coarse, about 37 min of spraying left.
    Wind measured by mast 1 min ago.
  11:06 mate: Pare hill: rafagas 19, max. 15 mph. Deje de aplicar ya. Rafaga 19 mph, maximo 15 mph (propio): 4 mph de mas. Decide la etiqueta.
4 min storm
5 min calm
6 min calm
  11:21 driver: All clear hill: inside for 10 min
    Inside for 10 min.
    Job: coarse, about 22 min of spraying left.
    Wind measured by mast 1 min ago.
  11:21 mate: Puede seguir hill: 10 min dentro. 10 min dentro. Trabajo: coarse, quedan unos 22 min de pulverizacion. Decide la etiqueta.
not blowing to
not Get ready
most 2 driver
most 2 mate
most 0 helper
