# Nobody acknowledges a stop: the backup hears of it once.
start hill coarse
1 min calm
1 min gusty
  11:02 driver: Stop hill: gusts 19, max 15 mph
    Stop spraying now.
    Gust 19 mph, at most 15 mph (own): 4 mph over.
    Not inside again as far as the forecast reaches.
    Job: coarse, about 41 min of spraying left.
    Wind measured by mast 1 min ago.
  11:02 mate: Pare hill: rafagas 19, max. 15 mph. Deje de aplicar ya. Rafaga 19 mph, maximo 15 mph (propio): 4 mph de mas. Decide la etiqueta.
6 min gusty
  11:07 helper: Stop hill: gusts 19, max 15 mph. mate has not acknowledged this for 5 min. Stop spraying now. Label decides.
10 min gusty
not All clear
most 1 driver
most 1 mate
most 1 helper
