# Gusts come and go: after the second stop within the hour twenty steady minutes are asked.
start hill coarse
1 min calm
2 min gusty
  11:02 driver: Stop hill: gusts 19, max 15 mph
    Stop spraying now.
    Gust 19 mph, at most 15 mph (own): 4 mph over.
    Not inside again as far as the forecast reaches.
    Job: coarse, about 41 min of spraying left.
    Wind measured by mast 1 min ago.
  11:02 mate: Pare hill: rafagas 19, max. 15 mph. Deje de aplicar ya. Rafaga 19 mph, maximo 15 mph (propio): 4 mph de mas. Decide la etiqueta.
11 min calm
  11:14 driver: All clear hill: inside for 10 min
    Inside for 10 min.
    Job: coarse, about 29 min of spraying left.
    Wind measured by mast 1 min ago.
  11:14 mate: Puede seguir hill: 10 min dentro. 10 min dentro. Trabajo: coarse, quedan unos 29 min de pulverizacion. Decide la etiqueta.
3 min calm
2 min gusty
  11:18 driver: Stop hill: gusts come and go
    Stop spraying, 2 times outside within the hour. Wait for 20 min of steady weather.
    Gust 19 mph, at most 15 mph (own): 4 mph over.
    Not inside again as far as the forecast reaches.
    Job: coarse, about 25 min of spraying left.
    Wind measured by mast 1 min ago.
  11:18 mate: Pare hill: rafagas van y vienen. Deje de aplicar, 2 veces fuera en la ultima hora. Espere 20 min de tiempo estable. Decide la etiqueta.
12 min calm
8 min calm
1 min calm
  11:40 driver: All clear hill: inside for 20 min
    Inside for 20 min.
    Job: coarse, about 3 min of spraying left.
    Wind measured by mast 1 min ago.
  11:40 mate: Puede seguir hill: 20 min dentro. 20 min dentro. Trabajo: coarse, quedan unos 3 min de pulverizacion. Decide la etiqueta.
not Get ready
most 4 driver
most 4 mate
most 1 helper
